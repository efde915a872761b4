"""Each parses the address, asks for one layout, and shows or writes it."""

from collections.abc import Callable
from functools import wraps
from urllib.parse import urlencode

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from census.change.blind import not_while_counting
from census.change.rules.question import Question
from census.change.rules.words import running_in_words
from inventory.book.templatetags.book_words import ended
from inventory.doors.clock import now
from inventory.people.access import may, person_of, requires, roles_of
from inventory.people.rules.roles import Role, in_words
from inventory.permits.who import READS_CASES

from ..actions.columns import NotArranged, arrange_columns
from ..actions.jobs import ask_job, work_soon
from ..files.charts import charts_of
from ..files.making import file_of
from ..forms import ColumnsForm, LayoutForm, TakesForm
from ..queries.checked import checked
from ..queries.columns import columns_in_use
from ..queries.documents import document_of
from ..queries.index import index_rows
from ..queries.layouts import LAYOUTS, Layout
from ..queries.permit_takes import takes_behind
from ..queries.permits import COLUMNS
from ..rules.checking import check_in_words
from ..rules.document import Document, NothingToTell
from ..rules.file_forms import LONG, MEDIA, file_name, says_words
from ..rules.italics import italics_of
from ..rules.said import Saying
from ..tables import pages_of, shown

_Answered = Callable[[HttpRequest, Layout, LayoutForm], HttpResponse]


@require_safe
@requires()
def reports(request: HttpRequest) -> HttpResponse:
    """The layouts that the reader may open."""
    return render(request, "reports/reports.html", {"rows": index_rows(roles_of(request.user))})


def _of_a_layout(view: _Answered) -> Callable[[HttpRequest, str], HttpResponseBase]:
    """A view that is given the layout and its valid form; anything else is answered here."""

    @wraps(view)
    def answered(request: HttpRequest, layout: str) -> HttpResponse:
        if layout not in LAYOUTS:
            raise Http404(f"There is no report called “{layout}”; there are: {', '.join(LAYOUTS)}.")
        wanted = LAYOUTS[layout]
        if wanted.roles and not may(request, *wanted.roles):
            raise PermissionDenied(f"This report is for the role {in_words(wanted.roles, joined='or')}.")
        form = LayoutForm(request.GET, today=timezone.localdate(now()), layout=wanted)
        if not form.is_valid():
            return render(request, "reports/report.html", {"form": form, "layout": wanted}, status=400)
        return not_while_counting(lambda asked: _or_why_not(view, asked, wanted, form))(request)

    return requires()(answered)


def _or_why_not(view: _Answered, request: HttpRequest, layout: Layout, form: LayoutForm) -> HttpResponse:
    """The view's answer; what a layout cannot answer is said beside the form."""
    try:
        return view(request, layout, form)
    except ValueError as error:
        said = str(error)
        form.add_error(None, ended(f"{said[:1].upper()}{said[1:]}"))
        return render(request, "reports/report.html", {"form": form, "layout": layout}, status=400)


def _document(layout: Layout, form: LayoutForm, *, words: bool) -> Document:
    saying = Saying(timezone.get_current_timezone(), words)
    return document_of(layout, form.cleaned_data["question"], saying, form.cleaned_data.get("subject", ""))


@require_safe
@_of_a_layout
def report(request: HttpRequest, layout: Layout, form: LayoutForm) -> HttpResponse:
    """A layout as a page."""
    if layout.subject and not form.cleaned_data.get("subject"):
        return render(request, "reports/report.html", {"form": form, "layout": layout})
    try:
        document = _document(layout, form, words=True)
    except NothingToTell as nothing:
        return render(
            request, "reports/report.html", {"form": form, "layout": layout, "nothing": str(nothing)}
        )
    page = pages_of(document).get_page(request.GET.get("page"))
    wrong = checked(document)
    context = {
        "form": form,
        "layout": layout,
        "document": document,
        "parts": shown(document, page),
        "charts": charts_of(document) if page.number == 1 else [],
        "page": page,
        "shown_at": now(),
        "address": urlencode(form.address()),
        "italics": italics_of(document, [place[3] for place in page.object_list]),
        "wrong": wrong,
        "check": check_in_words(wrong, document),
        "running": running_in_words(document.questions[-1], timezone.localdate(now())),
        "arranges": layout.name == "stock-list" and may(request, Role.REGISTRAR),
        "forms": list(MEDIA),
    }
    return render(request, "reports/report.html", context)


@require_safe
@_of_a_layout
def file(request: HttpRequest, layout: Layout, form: LayoutForm) -> HttpResponse:
    """A layout as a file; a long one is made beside the requests, and its page says how far it is."""
    wanted = request.path.rpartition(".")[2]
    part = request.GET.get("part", "") if wanted == "csv" else ""
    document = _document(layout, form, words=says_words(wanted))
    if document.lines > LONG[wanted]:
        job = ask_job(
            layout=layout.name,
            question=form.address(),
            form=wanted,
            part=part,
            by=person_of(request.user),
            now=now(),
        )
        work_soon(file_of)
        return redirect("report_job", job.pk)
    if part and part not in [one.key for one in document.parts]:
        there = ", ".join(one.key for one in document.parts)
        raise Http404(f"This report has no part called “{part}”; there are: {there}.")
    saying = Saying(timezone.get_current_timezone(), says_words(wanted))
    by = person_of(request.user).name
    content = file_of(document, wanted, saying=saying, now=now(), part=part, by=by)
    name = file_name(document, wanted, part)
    return HttpResponse(
        content, content_type=MEDIA[wanted], headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


@require_safe
@requires(*READS_CASES)
@not_while_counting
def permit_takes(request: HttpRequest) -> HttpResponse:
    """The takes behind a figure of a permit, with their sum."""
    form = TakesForm(request.GET)
    if not form.is_valid():
        return render(request, "reports/takes.html", {"form": form}, status=400)
    said = form.cleaned_data
    saying = Saying(timezone.get_current_timezone())
    question = Question(said["as_of"], said["as_of"], known_at=said["known_at"])
    words, lines = takes_behind(said["permit"], said["line"], said["unit"], question, saying)
    column = next(one for one in COLUMNS if one.key == said["figure"])
    rows = [(read, getattr(read.take, column.key)) for line in lines for read in line.takes]
    context = {
        "permit": said["permit"],
        "words": words,
        "heading": column.heading,
        "unit": said["unit"],
        "as_of": said["as_of"],
        "rows": [(read, n) for read, n in rows if n],
        "total": sum(n for _, n in rows),
    }
    return render(request, "reports/takes.html", context)


@require_POST
@_of_a_layout
def ask(request: HttpRequest, layout: Layout, form: LayoutForm) -> HttpResponse:
    """Asks for a file to be made beside the requests, however short it is."""
    job = ask_job(
        layout=layout.name,
        question=form.address(),
        form=request.POST.get("form", ""),
        by=person_of(request.user),
        now=now(),
    )
    work_soon(file_of)
    return redirect("report_job", job.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(Role.REGISTRAR)
def columns(request: HttpRequest) -> HttpResponse:
    """Arranges the columns of the stock list."""
    form = ColumnsForm(request.POST or None, initial=columns_in_use())
    if request.method == "POST" and form.is_valid():
        try:
            arrange_columns(
                headings=form.headings, by=person_of(request.user), now=now(), why=form.cleaned_data["why"]
            )
        except NotArranged as error:
            form.add_error(None, str(error))
        else:
            return redirect("report", layout="stock-list")
    status = 400 if form.errors else 200
    return render(request, "reports/columns.html", {"form": form}, status=status)
