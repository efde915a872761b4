"""Every layout of every period of the demo ties: its workbook and its print are read back."""

import re
from collections.abc import Mapping
from datetime import date
from io import BytesIO
from random import Random
from typing import Any
from urllib.parse import urlencode

import openpyxl
import pytest
from django.contrib.auth.models import User
from django.test import Client

from census.change.rules.question import Question
from census.demo.actions.preview import promised
from census.demo.rules import fixtures
from census.demo.rules.fixtures import ANIMAL
from census.reports.files.grid import headings
from census.reports.files.paper import write_pdf
from census.reports.files.workbook import write_workbook
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.checking import check_in_words, failures
from census.reports.rules.document import Document, Figure, Line
from census.reports.rules.said import Saying
from census.rounds.rules.words import MEASURED_UNITS
from inventory.book.rules.scope import Scope
from inventory.book.rules.words import MINUS
from tests.reports.printed import heading_alone, read_pages

from .conftest import DemoHouse

pytestmark = pytest.mark.django_db

QUARTERS = fixtures.read_quarters()
CLOSED = [quarter for quarter in QUARTERS if quarter.closed_at]
TWO_YEARS = (QUARTERS[0].starts, QUARTERS[-1].ends)
QUARTER_LAYOUTS = ("taxa", "exhibits")
# (layout, first day, last day, what it is about)
PERIODS = [
    *((layout, quarter.starts, quarter.ends, "") for quarter in QUARTERS for layout in QUARTER_LAYOUTS),
    *(("permits", quarter.starts, quarter.ends, "") for quarter in QUARTERS[-2:]),
    ("periods", *TWO_YEARS, ""),
    ("stock-list", date(2025, 1, 1), date(2025, 12, 31), ""),
    ("stock-list", *TWO_YEARS, ""),
    ("census", QUARTERS[-1].starts, QUARTERS[-1].ends, ""),
    ("changed", *TWO_YEARS, ""),
    ("taxon", *TWO_YEARS, "Clupea harengus"),
    ("taxon", *TWO_YEARS, "undulate ray"),
]


def _answered(
    house: DemoHouse, layout: str, first: date, last: date, scope: Scope = Scope.ALL, subject: str = ""
) -> Document:
    return LAYOUTS[layout].answer(Question(first, last, scope=scope), Saying(house.zone), subject)


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


def test_every_layout_of_every_period_ties_in_its_workbook_and_says_so_in_print(house: DemoHouse) -> None:
    """One test over all, so that the house is read for each once; what fails says which."""
    for layout, first, last, subject in PERIODS:
        document = _answered(house, layout, first, last, subject=subject)
        which = f"{layout} {first} to {last} {subject}"
        assert failures(document) == [], which
        found = _differences(_read_back(document, house))
        assert set(found) <= {0}, which
        assert found or layout == "changed", which
        assert len(found) > 50 or layout in ("census", "changed", "taxon"), which
        out = BytesIO()
        write_pdf(document, out, made="", annex={})
        pages = read_pages(out)
        assert heading_alone(pages) == [], which
        text = " ".join(" ".join(run.text for page in pages for run in page).split())
        # The letters of the print have no true minus.
        assert check_in_words([], document).replace("\N{MINUS SIGN}", "-") in text, which
        for part in document.parts:
            # A csv whose columns are called alike loses one of them.
            assert len(set(headings(part))) == len(headings(part)), which
            for table in part.tables():
                for line in table.lines:
                    assert _first_word(line) in text, (which, line.number)
    assert {layout for layout, *_ in PERIODS} == set(LAYOUTS)


def _first_word(line: Line) -> str:
    return (line.name.accepted if line.name else line.label).split()[0]


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
    notes = [note for block in document.part("places").blocks for note in block.notes]
    assert any(re.search("before settling.*[+]\\d+ / \N{MINUS SIGN}\\d", note) for note in notes)


def test_a_sum_of_some_counts_says_of_how_many_lines_it_is(house: DemoHouse) -> None:
    """In the second quarter the herring alone were counted among the kinds of the cylinder."""
    second = QUARTERS[-2]
    document = _answered(house, "exhibits", second.starts, second.ends)
    table = next(table for table in document.part("places").tables() if table.total_label == "Total of E11")
    lines = list(table.lines)
    of_lines = [line for line in lines if line.figures["count"].value is not None]
    assert (len(of_lines), len(lines)) == (1, 7)
    assert table.total["count"].value == of_lines[0].figures["count"].value
    assert str(table.total["count_status"].value).endswith("; 1 of 7 lines counted")


def test_the_stock_list_of_a_year_begins_and_ends_with_its_closings(house: DemoHouse) -> None:
    year = [quarter for quarter in CLOSED if quarter.starts.year == 2025]
    document = _answered(house, "stock-list", year[0].starts, year[-1].ends)
    (animals,) = (table for table in document.part("list").tables() if table.unit == ANIMAL)
    assert animals.total["opening"].value == year[0].opening
    assert animals.total["closing"].value == year[-1].newest_closing


# The worked figures of the third quarter of 2026, at its end and before anything is settled: opening 2,627,
# collected 177, born 98 (86, and 12 that settled after the count), died 159, edited without an event 8,
# closing 2,735; colonies 10, egg cases 23; opening and closing are of both scopes.
# *Source: the demo's own scenario, invented.*
WORKED = {"opening": 2_627, "taken": 177, "died": 159, "unaccounted": 8, "closing": 2_735}


def _animals(document: Document, part: str) -> Mapping[str, Figure]:
    (found,) = (table for table in document.part(part).tables() if table.unit == ANIMAL)
    return found.total


def _summed(document: Document, part: str, column: str) -> int:
    return sum(
        line.figures[column].number
        for table in document.part(part).tables()
        if table.unit == ANIMAL
        for line in table.lines
    )


def test_the_worked_figures_of_the_quarter_come_out_in_each_layout(house: DemoHouse) -> None:
    days = (QUARTERS[-1].starts, QUARTERS[-1].ends)
    full = _animals(_answered(house, "taxa", *days), "full")
    died = full["died"].number + full["died_within_30_days"].number
    told = {key: full[key].number for key in ("opening", "taken", "unaccounted", "closing")}
    assert {**told, "died": died} == WORKED
    assert (full["moved_in"].value, full["moved_out"].value) == (0, 0)
    exhibits = _answered(house, "exhibits", *days)
    permits = _answered(house, "permits", *days)
    for column in ("opening", "closing", "unaccounted"):
        assert _summed(exhibits, "places", column) == WORKED[column]
        assert _summed(permits, "sources", column) == WORKED[column]
    periods = _answered(house, "periods", *TWO_YEARS)
    flows = {
        line.label: line.figures["2026 Q3"].number
        for table in periods.part("flows").tables()
        if table.unit == ANIMAL
        for line in table.lines
    }
    assert _animals(periods, "numbers")["2026 Q3"].value == WORKED["closing"]
    assert (flows["opening"], flows["collected"]) == (WORKED["opening"], WORKED["taken"])
    stock = _animals(_answered(house, "stock-list", *days), "list")
    assert (stock["opening"].value, stock["closing"].value) == (WORKED["opening"], WORKED["closing"])
    for layout, part in (("taxa", "short"), ("stock-list", "list")):
        units = {table.unit: table for table in _answered(house, layout, *days).part(part).tables()}
        assert units["colony"].total["closing"].value == 10
        assert units["egg case"].total["closing"].value == 23


def test_the_census_statement_shows_both_sides_and_not_only_the_small_net(house: DemoHouse) -> None:
    document = _answered(house, "census", QUARTERS[-1].starts, QUARTERS[-1].ends)
    total = _animals(document, "differences")
    assert (total["gains"].number - total["losses"].number, total["gross"].value) == (48, 282)
    lines = {line.label: line.figures for t in document.part("accuracy").tables() for line in t.lines}
    assert [lines["all"][key].value for key in ("all_lines", "latest_lines", "latest_exact")] == [
        125,
        102,
        67,
    ]


def test_the_permit_block_has_what_was_taken_and_is_left(house: DemoHouse) -> None:
    document = _answered(house, "permits", QUARTERS[-1].starts, QUARTERS[-1].ends)
    lines = {
        line.label: line.figures
        for block in document.part("permits").blocks
        if "(P2)" in block.title
        for table in block.tables
        for line in table.lines
    }
    (ray,) = (figures for label, figures in lines.items() if "Raja clavata" in label)
    assert [ray[key].value for key in ("limit", "caught", "let_go", "kept", "left")] == ["2", 4, 1, 3, -1]
    (goby,) = (figures for label, figures in lines.items() if "Gobiusculus" in label)
    assert [goby[key].value for key in ("caught", "let_go", "died", "kept")] == [52, 0, 4, 48]


def test_the_restated_quarter_tells_its_changed_figures_with_their_event(house: DemoHouse) -> None:
    document = _answered(house, "changed", *TWO_YEARS, scope=Scope.HERE)
    (block,) = document.part("changed").blocks
    assert block.title == "2025 Q3: version 1 to version 2"
    told = {(f["figure"].value, f["old"].value, f["new"].value) for t in block.tables for f in
            (line.figures for line in t.lines)}  # fmt: skip
    assert ("closing", 4, 3) in told
    assert all(
        "happened 20 September 2025" in str(line.figures["events"].value)
        for t in block.tables
        for line in t.lines
    )


def test_a_page_of_one_taxon_says_what_the_report_by_taxon_says(house: DemoHouse) -> None:
    """Its figures come from the flows of its own lots; the whole house is the other road."""
    days = (QUARTERS[-1].starts, QUARTERS[-1].ends)
    rows = {
        (line.name.accepted, table.unit): line.figures
        for table in _answered(house, "taxa", *days).part("short").tables()
        for line in table.lines
        if line.name
    }
    for name in ("Clupea harengus", "Raja undulata", "Hippocampus guttulatus", "Scyliorhinus canicula"):
        document = _answered(house, "taxon", *days, subject=name)
        for table in document.part("course").tables():
            figures = table.lines[-1].figures
            keys = ("opening", "in", "out", "found", "unaccounted", "between", "late", "closing", "missing")
            assert [figures[key].value for key in keys] == [rows[name, table.unit][key].value for key in keys]
            assert figures["closing_mfu"].value == rows[name, table.unit]["closing_mfu"].value


def test_one_taxon_answers_the_days_asked_for_beside_its_two_years(house: DemoHouse) -> None:
    """Days that are no quarter: a week, and a stretch that begins before the two years."""
    for first, last in ((date(2026, 9, 14), date(2026, 9, 20)), (date(2024, 3, 1), date(2026, 8, 10))):
        rows = {
            (line.name.accepted, table.unit): line.figures
            for table in _answered(house, "taxa", first, last).part("short").tables()
            for line in table.lines
            if line.name
        }
        for name in ("Clupea harengus", "Aurelia aurita"):
            document = _answered(house, "taxon", first, last, subject=name)
            (table,) = document.part("days").tables()
            (line,) = table.lines
            keys = ("opening", "in", "out", "found", "unaccounted", "between", "late", "closing", "missing")
            told, other = line.figures, rows[name, "animal"]
            assert [told[key].value for key in keys] == [other[key].value for key in keys]
            newest = document.part("course").blocks[0].tables[0].lines[-1]
            assert newest.label == f"2026 Q3 to {last.day} {last:%B} 2026"
            assert newest.figures["closing"].value == told["closing"].value
            assert not failures(document)


def test_a_statement_of_days_that_no_census_counts_names_the_days_of_those_there_are(
    house: DemoHouse, client: Client
) -> None:
    """The year 2025 has a period and no census of its own."""
    client.force_login(User.objects.get(username="maren"))
    year = {"first_day": "2025-01-01", "last_day": "2025-12-31"}
    for address, status in (("/reports/census", 200), ("/reports/census.pdf", 400)):
        answer = client.get(address, year)
        assert answer.status_code == status
        assert "CS-26Q3, 1 July 2026 to 30 September 2026; CS-26Q2, 1 April 2026" in answer.text


def test_every_figure_of_every_layout_opens_events_with_that_sum(house: DemoHouse, client: Client) -> None:
    """Links of every layout, drawn with a seed: the sum at the foot is the figure, and each event of one page
    opens with who entered it."""
    client.force_login(User.objects.get(username="maren"))
    draw = Random(7)
    days = (QUARTERS[-1].starts, QUARTERS[-1].ends)
    for layout in LAYOUTS:
        first, last = TWO_YEARS if layout in ("periods", "changed") else days
        document = _answered(house, layout, first, last, subject="Clupea harengus")
        figures = [
            figure
            for part in document.parts
            for table in part.tables()
            for row in (*(line.figures for line in table.lines), table.total)
            for figure in row.values()
            if isinstance(figure.value, int) and (figure.asked or "/reports/permits/takes" in figure.at)
        ]
        assert figures or layout == "census", layout
        for figure in draw.sample(figures, min(6, len(figures))):
            address = figure.at or f"/change/events?{urlencode(figure.asked or {})}"
            page = client.get(address).content.decode()
            foot = re.findall(r'<td class="num">([^<]*)</td>', page.partition("<tfoot>")[2])
            told = int(foot[-1].replace(",", "").replace(MINUS, "-"))
            assert told == figure.value, (layout, address)
            events = re.findall(r'href="(/event/\d+)"', page)
            if events:
                assert "Entered" in client.get(draw.choice(events)).content.decode()
