"""Papers for an authority, page by page and cell by cell."""

from datetime import date, datetime
from io import BytesIO

import openpyxl
import pypdf
import pytest
import xlsxwriter  # type: ignore[import-untyped]

from inventory.book.models import Lot
from inventory.permits.files.return_pdf import write_form
from inventory.permits.files.sheets import fitting, write_cell
from inventory.permits.files.transport_pdf import transport_pdf
from inventory.permits.queries.transport import transport_of
from inventory.permits.rules.statements import Chosen, Row, Statement
from tests.reports.printed import read_pages

from ..factories import make_event
from .house import PermitHouse, a_take
from .test_returns import content, freeze

DAY = date(2026, 10, 6)


def test_a_return_says_on_each_page_which_of_how_many_it_is(house: PermitHouse) -> None:
    house.record(*(a_take("shore crab", let_go=1, remarks=f"crab {n}") for n in range(60)))
    pages = pypdf.PdfReader(BytesIO(content(freeze(house), "pdf"))).pages
    for number, page in enumerate(pages, start=1):
        text = page.extract_text()
        assert f"page {number} of {len(pages)}" in text
        assert "; Return under permit " in text


def test_nobody_signs_a_page_of_a_return_that_has_no_row_of_it() -> None:
    """Returns whose rows end at each place of a page."""
    columns = [Chosen("remarks", "Remark")]
    for n in range(1, 70):
        rows = [Row(line, {"remarks": f"crab {line}."}) for line in range(1, n + 1)]
        statement = Statement(
            "Return", "return-1", [("return", "1"), ("house", "H")], columns, rows, DAY, "Me"
        )
        pages = [page.extract_text() for page in pypdf.PdfReader(BytesIO(write_form(statement))).pages]
        assert "Signature (Me)" in pages[-1]
        assert f"crab {n}." in pages[-1], n
        assert sum(page.count("crab ") for page in pages) == n


def test_names_of_species_lean_in_a_return_and_nothing_is_small_or_pale(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    runs = [run for page in read_pages(content(one, "pdf")) for run in page]
    assert {run.face for run in runs if run.text.strip() == "Pomatoschistus flavescens"} == {
        "Helvetica-Oblique"
    }
    assert min(run.size for run in runs) >= 7
    sheet = openpyxl.load_workbook(BytesIO(content(one, "xlsx")))["Return"]
    names = [cell for row in sheet.iter_rows() for cell in row if cell.value == "Pomatoschistus flavescens"]
    assert names
    assert all(cell.font.italic for cell in names)


def test_a_day_in_a_workbook_is_a_day_and_its_sheets_print_on_wide_pages_with_numbers(
    house: PermitHouse,
) -> None:
    house.record(a_take("two-spotted goby", 4))
    book = openpyxl.load_workbook(BytesIO(content(freeze(house), "xlsx")))
    cells = [cell for row in book["Return"].iter_rows(min_row=2) for cell in row]
    days = [
        cell for cell in cells if isinstance(cell.value, datetime) and cell.value.date() == date(2026, 9, 1)
    ]
    assert len(days) == 1
    assert days[0].number_format == "yyyy-mm-dd"
    for sheet in book:
        assert (sheet.page_setup.orientation, str(sheet.page_setup.paperSize)) == ("landscape", "9")
        assert sheet.oddFooter is not None
        assert sheet.oddFooter.right.text == "Page &P of &N"


@pytest.mark.parametrize(
    ("heading", "cells", "width"),
    [("Kept", ["1"], 12), ("accepted name", ["Pomatoschistus flavescens"], 27), ("m", ["x" * 300], 44)],
)
def test_a_column_is_as_wide_as_what_stands_in_it(heading: str, cells: list[str], width: int) -> None:
    assert fitting(heading, cells) == width


def test_a_mark_that_looks_like_a_day_and_is_none_stays_text_in_a_workbook() -> None:
    out = BytesIO()
    with xlsxwriter.Workbook(out) as book:
        sheet, day = book.add_worksheet(), book.add_format({"num_format": "yyyy-mm-dd"})
        for column, text in enumerate(("2026-40-12", "2026-10-12", "2026-10-01/2026-10-12")):
            write_cell(sheet, 0, column, text, day=day)
    told = [str(cell.value) for cell in openpyxl.load_workbook(out).worksheets[0][1]]
    assert told == ["2026-40-12", "2026-10-12 00:00:00", "2026-10-01/2026-10-12"]


def test_a_long_paper_of_a_transport_counts_its_pages(house: PermitHouse) -> None:
    house.record(a_take("dahlia anemone", 3))
    lot = Lot.objects.get(taxon__scientific_name="Urticina felina")
    event = make_event("sent", lot=lot, place="Q2", unknown=2, happened="2026-09-20", party="Hall")
    found = transport_of(event)
    assert found is not None
    pages = pypdf.PdfReader(BytesIO(transport_pdf(found, when=str(date(2026, 9, 20))))).pages
    for number, page in enumerate(pages, start=1):
        assert f"page {number} of {len(pages)}" in page.extract_text()
