"""Pages and files of the reports: each parses the address, asks for one layout, and shows or writes it."""

from collections.abc import Callable
from functools import wraps
from io import BytesIO, StringIO
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from census.change.blind import not_while_counting
from inventory.doors.clock import now
from inventory.people.access import person_of, requires
from inventory.people.rules.roles import Role

from .actions.columns import NotArranged, arrange_columns
from .files.comma import write_csv
from .files.paper import write_pdf
from .files.workbook import write_workbook
from .forms import ColumnsForm, LayoutForm
from .queries.annex import TooMany, annex
from .queries.checked import checked
from .queries.columns import columns_in_use
from .queries.layouts import LAYOUTS, Layout
from .rules.checking import check_in_words
from .rules.document import Document
from .rules.said import Saying
from .tables import pages_of, shown

_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_safe
@requires()
def reports(request: HttpRequest) -> HttpResponse:
    """The layouts that there are."""
    return render(request, "reports/reports.html", {"layouts": LAYOUTS.values()})


_Answered = Callable[[HttpRequest, Layout, LayoutForm], HttpResponse]


def _of_a_layout(view: _Answered) -> Callable[[HttpRequest, str], HttpResponseBase]:
    """A view that is given the layout and its valid form; anything else is answered here."""

    @wraps(view)
    def answered(request: HttpRequest, layout: str) -> HttpResponse:
        if layout not in LAYOUTS:
            raise Http404(f"There is no report called “{layout}”; there are: {', '.join(LAYOUTS)}.")
        form = LayoutForm(request.GET, today=timezone.localdate(now()), layout=LAYOUTS[layout])
        if not form.is_valid():
            return render(
                request, "reports/report.html", {"form": form, "layout": LAYOUTS[layout]}, status=400
            )
        return not_while_counting(lambda asked: view(asked, LAYOUTS[layout], form))(request)

    return require_safe(requires()(answered))


@_of_a_layout
def report(request: HttpRequest, layout: Layout, form: LayoutForm) -> HttpResponse:
    """A layout as a page."""
    document = layout.answer(form.cleaned_data["question"], _saying(words=True))
    pages = pages_of(document)
    page = pages.get_page(request.GET.get("page"))
    wrong = checked(document)
    context = {
        "form": form,
        "layout": layout,
        "document": document,
        "parts": shown(document, page),
        "page": page,
        "address": urlencode(form.address()),
        "wrong": wrong,
        "check": check_in_words(wrong, document),
        "arranges": layout.name == "stock-list",
    }
    return render(request, "reports/report.html", context)


@_of_a_layout
def workbook(request: HttpRequest, layout: Layout, form: LayoutForm) -> HttpResponse:
    """A layout as a workbook."""
    saying = _saying(words=False)
    document = layout.answer(form.cleaned_data["question"], saying)
    out = BytesIO()
    moment = now()
    write_workbook(document, out, made_at=moment, made=saying.moment(moment))
    return _file(out.getvalue(), _XLSX, layout, document, "xlsx")


@_of_a_layout
def comma(request: HttpRequest, layout: Layout, form: LayoutForm) -> HttpResponse:
    """One part of a layout as csv: the first, or the one that ``part`` names."""
    document = layout.answer(form.cleaned_data["question"], _saying(words=False))
    keys = [part.key for part in document.parts]
    key = request.GET.get("part") or keys[0]
    if key not in keys:
        raise Http404(f"This report has no part called “{key}”; there are: {', '.join(keys)}.")
    out = StringIO()
    write_csv(document.part(key), out)
    return _file(out.getvalue().encode(), "text/csv; charset=utf-8", layout, document, f"{key}.csv")


@_of_a_layout
def paper(request: HttpRequest, layout: Layout, form: LayoutForm) -> HttpResponse:
    """A layout in print."""
    saying = _saying(words=True)
    document = layout.answer(form.cleaned_data["question"], saying)
    out = BytesIO()
    try:
        behind, without = annex(document.questions, zone=saying.zone), ""
    except TooMany as error:
        behind, without = None, str(error)
    write_pdf(document, out, made=saying.moment(now()), annex=behind, without=without)
    return _file(out.getvalue(), "application/pdf", layout, document, "pdf")


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


def _saying(*, words: bool) -> Saying:
    return Saying(timezone.get_current_timezone(), words)


def _file(content: bytes, kind: str, layout: Layout, document: Document, ending: str) -> HttpResponse:
    first, last = document.questions[0].first_day, document.questions[-1].last_day
    name = f"{layout.name}_{first}_{last}.{ending}".replace("-list", "_list")
    return HttpResponse(
        content, content_type=kind, headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )
