"""Sheets on paper: the print, the workbook, and the scans that come back."""

from io import BytesIO

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils.http import content_disposition_header
from django.views.decorators.http import require_POST, require_safe

from inventory.book.queries.documents import read_document
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.refused import CensusRefused
from ..actions.scans import attach_scans
from ..forms.papers import ScanForm
from ..queries.blind import BlindSheet, blind_sheets
from ..queries.scans import scans_of
from ..queries.sheet_pictures import small_pictures
from ..rules.who import COMPARES, TYPES_LETTERS
from ..writers.count_sheets import write_sheets
from ..writers.sheet_pdf import write_pdf
from .board import found_census
from .sheet import found_sheet, round_of

PDF = "application/pdf"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@require_safe
@requires(*TYPES_LETTERS, *COMPARES)
def sheet_pdf(request: HttpRequest, number: str) -> HttpResponse:
    """The sheet to print, for the count that is the person's to make. The same list, the same bytes."""
    blind = _blind(request, number)
    out = BytesIO()
    write_pdf([blind], out, small_pictures([blind]))
    return _file(out, PDF, f"{blind.number}-count-{blind.round}.pdf")


@require_safe
@requires(*TYPES_LETTERS, *COMPARES)
def sheet_workbook(request: HttpRequest, number: str) -> HttpResponse:
    """The same as a workbook to fill in."""
    blind = _blind(request, number)
    out = BytesIO()
    write_sheets([blind], out)
    return _file(out, XLSX, f"{blind.number}-count-{blind.round}.xlsx")


@require_safe
@requires(*COMPARES)
def census_pdf(request: HttpRequest, code: str) -> HttpResponse:
    """All sheets of a census that count, in one PDF."""
    census = found_census(code)
    sheets = census.sheets.filter(replaced_by=None).select_related("place", "census").order_by("number")
    out = BytesIO()
    blind = blind_sheets(sheets)
    write_pdf(blind, out, small_pictures(blind))
    return _file(out, PDF, f"{census.code}-sheets.pdf")


@require_POST
@requires(*TYPES_LETTERS)
def sheet_scans(request: HttpRequest, number: str) -> HttpResponse:
    """Takes pictures of the paper."""
    sheet, form = found_sheet(number), ScanForm(request.POST, request.FILES)
    if not form.is_valid():
        messages.error(request, " ".join(map(str, form.errors.get("papers", []))))
        return redirect("sheet", sheet.number)
    files = [(file.name or "scan", file.read()) for file in form.cleaned_data["papers"]]
    try:
        new = attach_scans(sheet=sheet, files=files, by=person_of(request.user), now=clock.now())
    except CensusRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{sheet.number}: {_scans(len(new))} kept.")
    return redirect("sheet", sheet.number)


@require_safe
@requires(*TYPES_LETTERS, *COMPARES)
def sheet_scan(request: HttpRequest, number: str, scan: int) -> HttpResponse:
    """One scan, always as a download: nothing that was uploaded is shown as a page."""
    person, sees = person_of(request.user), may(request, *COMPARES)
    shown = scans_of(found_sheet(number), person=person, compares=sees)
    found = get_object_or_404(shown, number=scan)
    try:
        content = read_document(found.document)
    except ValueError as error:
        raise Http404(str(error)) from error
    suffix = found.document.name.rpartition(".")[2]
    return _file(BytesIO(content), found.document.media_type, f"{number}-scan-{scan}.{suffix}")


def _blind(request: HttpRequest, number: str) -> BlindSheet:
    """The list alone, for a print is blank: whose it is matters only for which lines are counted again."""
    sheet, person = found_sheet(number), person_of(request.user)
    round_ = round_of(request, sheet, person)
    return blind_sheets([sheet], round=round_, person=person if round_ > 1 else None)[0]


def _file(content: BytesIO, media_type: str, name: str) -> HttpResponse:
    response = HttpResponse(content.getvalue(), content_type=media_type)
    response["Content-Disposition"] = content_disposition_header(as_attachment=True, filename=name) or ""
    response["X-Content-Type-Options"] = "nosniff"
    return response


def _scans(n: int) -> str:
    return "1 scan" if n == 1 else f"{n} scans"
