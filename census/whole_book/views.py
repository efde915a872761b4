"""Pages of the whole book and of the inspection: each parses, calls one function, and shows or sends."""

import secrets

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from census.change.blind import not_while_counting
from census.rounds.rules.who import SAMPLES
from inventory.book import blind
from inventory.book.queries.heads import head_of_chain
from inventory.doors import clock
from inventory.people.access import may, person_of, requires
from inventory.people.rules.roles import Role

from .actions.sample import SampleRefused, draw_floor_sample, keep_finding
from .files.out import dictionary_csv, stream_zip, workbook_file
from .models import SampledThing
from .queries.dictionary import by_table, left_out
from .queries.sample import lots_of_places, read_sample, samples
from .rules.shapes import Form
from .scope import NOT_READ, READABLE
from .who import POSITIONS, READS_INSPECTIONS, TAKES_OUT

SAMPLES_ON_A_PAGE = 5
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_safe
@requires(*TAKES_OUT)
@not_while_counting
def whole_book(request: HttpRequest) -> HttpResponse:
    """What goes out, in which forms."""
    context = {"head": head_of_chain(), "positions": may(request, *POSITIONS)}
    return render(request, "whole_book/whole_book.html", context)


@require_safe
@requires(*TAKES_OUT)
def whole_book_file(request: HttpRequest, form: str) -> HttpResponseBase:
    """The whole book as one file: csv and Parquet go while they are written, a workbook when it is done."""
    if form not in set(Form):
        raise Http404(f"The book goes out as {', '.join(Form)}, not as “{form}”.")
    if blind.hidden_from(person_of(request.user)):
        # The page that says why.
        return redirect("whole_book")
    now, positions = clock.now(), may(request, *POSITIONS)
    name = f"whole_book_{timezone.localdate(now)}_{form}"
    if form == Form.XLSX:
        made = workbook_file(now=now, positions=positions)
        return FileResponse(made, as_attachment=True, filename=f"{name}.xlsx", content_type=_XLSX)
    pieces = stream_zip(Form(form), now=now, positions=positions)
    headers = {"Content-Disposition": f'attachment; filename="{name}.zip"'}
    return StreamingHttpResponse(pieces, content_type="application/zip", headers=headers)


@require_safe
@requires()
def data_dictionary(request: HttpRequest) -> HttpResponse:
    """Every table and column with its meaning."""
    return render(request, "whole_book/dictionary.html", {"tables": by_table(), "left_out": left_out()})


@require_safe
@requires()
def data_dictionary_csv(request: HttpRequest) -> HttpResponse:
    """The same as csv, as it stands beside the files."""
    headers = {"Content-Disposition": 'attachment; filename="dictionary.csv"'}
    return HttpResponse(dictionary_csv(), content_type="text/csv; charset=utf-8", headers=headers)


@require_safe
@requires(*READS_INSPECTIONS)
def inspection(request: HttpRequest) -> HttpResponse:
    """What an inspector may read, and the sample test both ways, kept for ever."""
    page = Paginator(samples(), SAMPLES_ON_A_PAGE).get_page(request.GET.get("page"))
    read = [read_sample(sample) for sample in page]
    hidden = blind.hidden_from(person_of(request.user))
    open_floor = {
        t.place_id for one in read for t in one.things if t.lot_id is None and not hasattr(t, "finding")
    }
    context = {
        "page": page,
        "samples": read,
        "hidden": hidden,
        "on_list": lots_of_places(open_floor),
        "readable": READABLE,
        "not_read": NOT_READ,
        "may_sample": may(request, *SAMPLES),
        "inspects": may(request, Role.INSPECTOR),
    }
    return render(request, "whole_book/inspection.html", context)


@require_POST
@requires(*SAMPLES)
def inspection_step(request: HttpRequest) -> HttpResponse:
    """Draws a sample, or keeps what was found for one thing of it."""
    try:
        messages.success(request, _step(request))
    except SampleRefused as refused:
        messages.error(request, str(refused))
    return redirect("inspection")


def _step(request: HttpRequest) -> str:
    """Does what the button says; gives the words for the page."""
    person, now, post = person_of(request.user), clock.now(), request.POST
    if post.get("step") == "draw":
        sample = draw_floor_sample(by=person, now=now, seed=secrets.token_hex(8))
        return f"Drawn with the seed {sample.seed}."
    if post.get("step") == "finding" and post.get("thing", "").isdecimal():
        thing = get_object_or_404(SampledThing, pk=int(post["thing"]))
        finding = keep_finding(
            thing=thing,
            found=post.get("found", ""),
            on_list=post.get("on_list", ""),
            by=person,
            now=now,
            note=post.get("note", ""),
        )
        return f"Number {thing.number}: {'right' if finding.right else 'wrong'}."
    raise SampleRefused("Choose what to do.")
