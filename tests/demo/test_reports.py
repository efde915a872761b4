"""Every layout of every period of the demo ties: its workbook and its print are read back."""

from datetime import date
from io import BytesIO
from typing import Any

import openpyxl
import pytest
from pypdf import PdfReader

from census.change.rules.question import Question
from census.demo.actions.preview import promised
from census.demo.rules import fixtures
from census.demo.rules.fixtures import ANIMAL
from census.reports.files.paper import write_pdf
from census.reports.files.workbook import write_workbook
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.document import Document
from census.reports.rules.said import Saying
from census.rounds.rules.words import MEASURED_UNITS
from inventory.book.rules.scope import Scope

from .conftest import DemoHouse

pytestmark = pytest.mark.django_db

QUARTERS = fixtures.read_quarters()
CLOSED = [quarter for quarter in QUARTERS if quarter.closed_at]
TWO_YEARS = (QUARTERS[0].starts, QUARTERS[-1].ends)
PERIODS = [
    *(("exhibits", quarter.starts, quarter.ends) for quarter in QUARTERS),
    ("periods", *TWO_YEARS),
    ("stock-list", date(2025, 1, 1), date(2025, 12, 31)),
    ("stock-list", *TWO_YEARS),
]


def _answered(house: DemoHouse, layout: str, first: date, last: date, scope: Scope = Scope.ALL) -> Document:
    return LAYOUTS[layout].answer(Question(first, last, scope=scope), Saying(house.zone))


def _read_back(document: Document, house: DemoHouse) -> Any:
    out = BytesIO()
    write_workbook(document, out, made_at=house.now, made="")
    return openpyxl.load_workbook(BytesIO(out.getvalue()), data_only=True)


def _differences(book: Any) -> list[Any]:
    found, at = [], None
    for row in book["Proof"].iter_rows(min_row=4, values_only=True):
        if "difference" in row:
            at = row.index("difference")
        elif at is not None and row[at] is not None:
            found.append(row[at])
    return found


@pytest.mark.parametrize(("layout", "first", "last"), PERIODS)
def test_the_workbook_ties_and_the_print_says_so(
    house: DemoHouse, layout: str, first: date, last: date
) -> None:
    document = _answered(house, layout, first, last)
    found = _differences(_read_back(document, house))
    assert len(found) > 50
    assert set(found) == {0}
    out = BytesIO()
    write_pdf(document, out, made="", annex={})
    text = " ".join(page.extract_text() for page in PdfReader(out).pages)
    assert "Ties: opening + in" in text.replace("\n", " ")


@pytest.mark.parametrize("quarter", CLOSED, ids=lambda quarter: quarter.code)
def test_the_exhibits_together_are_the_quarter_of_the_table(house: DemoHouse, quarter: Any) -> None:
    book = _read_back(_answered(house, "exhibits", quarter.starts, quarter.ends), house)
    rows = list(book["By exhibit"].iter_rows(min_row=4, values_only=True))
    heads = rows[0]

    def total(heading: str) -> int:
        at, unit = heads.index(heading), heads.index("unit")
        return sum(row[at] or 0 for row in rows[1:] if row[unit] == ANIMAL)

    headings = ("opening", "in", "out", "unexplained: found", "unexplained: unaccounted for", "closing")
    assert tuple(map(total, headings)) == (
        quarter.opening,
        quarter.in_,
        quarter.all_out,
        quarter.found,
        quarter.unaccounted,
        quarter.newest_closing,
    )


def test_the_quarters_stand_in_the_report_by_period_as_in_the_table(house: DemoHouse) -> None:
    document = _answered(house, "periods", *TWO_YEARS)
    (animals,) = (table for table in document.part("numbers").tables() if table.unit == ANIMAL)
    assert [animals.total[quarter.code].value for quarter in CLOSED] == [
        quarter.newest_closing for quarter in CLOSED
    ]
    marks = {column.key: column.mark for column in document.part("numbers").columns if column.mark}
    assert marks == {quarter.code: "restated, version 2" for quarter in CLOSED if quarter.closing_version_2}


def test_the_differences_before_settling_are_net_and_gross_as_promised(house: DemoHouse) -> None:
    running = QUARTERS[-1]
    document = _answered(house, "exhibits", running.starts, running.ends)
    found = [
        line.figures["difference"].number
        for table in document.part("places").tables()
        if table.unit in MEASURED_UNITS
        for line in table.lines
    ]
    assert (sum(found), sum(map(abs, found))) == (
        promised()["net before settling"],
        promised()["gross before settling"],
    )


def test_the_stock_list_of_a_year_begins_and_ends_with_its_closings(house: DemoHouse) -> None:
    year = [quarter for quarter in CLOSED if quarter.starts.year == 2025]
    document = _answered(house, "stock-list", year[0].starts, year[-1].ends)
    (animals,) = (table for table in document.part("list").tables() if table.unit == ANIMAL)
    assert animals.total["opening"].value == year[0].opening
    assert animals.total["closing"].value == year[-1].newest_closing
