"""Count sheets taken back from a workbook, and decisions from a csv file."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from census.rounds.actions.papers import take_papers
from census.rounds.actions.refused import CensusRefused
from census.rounds.models import Count, Line, Sheet
from census.rounds.queries.blind import blind_sheets
from census.rounds.readers.count_sheets import read_sheets
from census.rounds.readers.decisions import read_decisions
from census.rounds.rules.sheet_layout import COLUMNS, HEADER_ROW
from census.rounds.rules.words import How, Seen
from census.rounds.writers.count_sheets import write_sheets
from inventory.book.readers import NotReadable
from inventory.book.rules.kinds import EventKind

from .house import NOW, ZONE, TestHouse

pytestmark = pytest.mark.django_db

Fill = Callable[..., Path]
Boxes = dict[tuple[str, int | str], dict[str, Any]]


@pytest.fixture
def fill(house: TestHouse, tmp_path: Path) -> Fill:
    """Writes the sheets of a new census and fills boxes: ``fill({(sheet, line): {column: value}})``."""

    def filled(
        boxes: dict[tuple[str, int | str], dict[str, Any]], head: dict[str, Any] | None = None
    ) -> Path:
        census = house.opened_and_issued()
        path = tmp_path / "sheets.xlsx"
        write_sheets(blind_sheets(census.sheets.select_related("place")), path)
        book = openpyxl.load_workbook(path)
        for page in book.worksheets:
            for cell, value in ({"B6": "2026-09-29 10:00"} | (head or {})).items():
                page[cell] = value
        for (number, line), values in boxes.items():
            page = book[number]
            for column, value in values.items():
                page.cell(_row(page, line), COLUMNS.index(column) + 1, value)
        book.save(path)
        return path

    return filled


def _row(page: Any, line: int | str) -> int:
    """The row of a line, of an individual (by its marks), or the first row to write in ("+")."""
    for row in range(HEADER_ROW + 1, page.max_row + 1):
        if line in (page.cell(row, 1).value, page.cell(row, COLUMNS.index("marks") + 1).value):
            return row
    raise AssertionError(f"no row {line}")


def take(house: TestHouse, path: Path) -> None:
    papers, problems = read_sheets(path, ZONE)
    assert problems == []
    take_papers(papers=papers, by=house.registrar, now=NOW)


def test_what_was_written_comes_back(house: TestHouse, fill: Fill) -> None:
    path = fill(
        {
            ("CS-26Q3-01", 1): {"count": "at least 22", "lowest": 20, "highest": 25, "remark": "murky"},
            ("CS-26Q3-01", 3): {"count": 0},
            ("CS-26Q3-01", 4): {"count": "18", "counted by": "Bror", "counted at": "2026-09-30T08:15"},
            ("CS-26Q3-01", 5): {"males": 3, "unknown": 19},
            ("CS-26Q3-01", "Thole"): {"seen": "not seen"},
            ("CS-26Q3-01", "Hawser"): {"seen": "seen"},
            ("CS-26Q3-01", "+"): {"name": "Ciona, lots", "count": "C"},
            ("CS-26Q3-02", 1): {"count": 23.0},
        }
    )
    take(house, path)
    found = {str(count.line): count for count in Count.objects.select_related("line__sheet", "counter")}
    herring = found["CS-26Q3-01 line 1"]
    assert (herring.value, herring.at_least, herring.low, herring.high) == (22, True, 20, 25)
    assert herring.remark == "murky"
    assert found["CS-26Q3-01 line 3"].value == 0
    wrasse = found["CS-26Q3-01 line 4"]
    assert (wrasse.counter, wrasse.counted_at.hour) == (house.second, 7)
    assert (found["CS-26Q3-01 line 5"].value, found["CS-26Q3-01 line 5"].males) == (22, 3)
    conger = found["CS-26Q3-01 line 2"]
    assert conger.value == 1
    assert {s.lot.house_name: s.seen for s in conger.sightings.all()} == {
        "Thole": Seen.NOT_SEEN,
        "Hawser": Seen.SEEN,
    }
    assert found["CS-26Q3-01 line 7"].letter == "C"
    assert Line.objects.get(number=7, sheet__number="CS-26Q3-01").written_name == "Ciona, lots"
    assert found["CS-26Q3-02 line 1"].value == 23
    # Line 6 was left blank, and blank is not counted.
    assert "CS-26Q3-01 line 6" not in found
    assert all(count.typed_by == house.registrar for count in found.values())


def test_taking_a_file_twice_changes_nothing(house: TestHouse, fill: Fill) -> None:
    path = fill({("CS-26Q3-01", 3): {"count": 11}, ("CS-26Q3-01", "+"): {"name": "Crab", "count": 1}})
    take(house, path)
    take(house, path)
    assert Count.objects.count() == 2


def test_every_bad_box_is_told_with_sheet_row_and_column(house: TestHouse, fill: Fill) -> None:
    path = fill(
        {
            ("CS-26Q3-01", 1): {"count": "many"},
            ("CS-26Q3-01", 3): {"count": 1.5},
            ("CS-26Q3-02", 1): {"count": 3, "counted at": "yesterday"},
            ("CS-26Q3-01", "Thole"): {"seen": "maybe"},
        }
    )
    _, problems = read_sheets(path, ZONE)
    assert [problem.partition(": ")[0] for problem in problems] == [
        "sheet CS-26Q3-01, row 10, column count",
        "sheet CS-26Q3-01, row 13, column seen",
        "sheet CS-26Q3-01, row 14, column count",
        "sheet CS-26Q3-02, row 10, column counted at",
    ]


def test_a_name_that_nobody_has_or_no_moment_is_refused_and_nothing_is_taken(
    house: TestHouse, fill: Fill
) -> None:
    path = fill(
        {
            ("CS-26Q3-01", 1): {"count": 420},
            ("CS-26Q3-01", 3): {"count": 11, "counted by": "Nemo"},
            ("CS-26Q3-02", 1): {"count": 23},
        },
        head={"B6": ""},
    )
    papers, problems = read_sheets(path, ZONE)
    assert problems == []
    with pytest.raises(CensusRefused) as refused:
        take_papers(papers=papers, by=house.registrar, now=NOW)
    told = "\n".join(refused.value.problems)
    assert "sheet CS-26Q3-01, row 14, column counted by: nobody here is called 'Nemo'" in told
    assert "sheet CS-26Q3-02, row 10, column counted at: say when" in told
    assert not Count.objects.exists()


def test_a_count_in_the_future_is_told_with_its_row(house: TestHouse, fill: Fill) -> None:
    path = fill({("CS-26Q3-01", 3): {"count": 11, "counted at": "2026-12-24 10:00"}})
    papers, _ = read_sheets(path, ZONE)
    with pytest.raises(CensusRefused, match="sheet CS-26Q3-01, row 14: the count moment lies in the future"):
        take_papers(papers=papers, by=house.registrar, now=NOW)


def test_an_unknown_sheet_and_a_file_that_is_none_are_refused(
    house: TestHouse, fill: Fill, tmp_path: Path
) -> None:
    papers, _ = read_sheets(fill({}, head={"B1": "CS-99Q9-01"}), ZONE)
    with pytest.raises(CensusRefused, match="no count sheet 'CS-99Q9-01'"):
        take_papers(papers=papers, by=house.registrar, now=NOW)
    bad = tmp_path / "bad.xlsx"
    bad.write_text("not a workbook")
    with pytest.raises(NotReadable, match="not a workbook"):
        read_sheets(bad, ZONE)
    other = openpyxl.Workbook()
    other.save(tmp_path / "other.xlsx")
    assert read_sheets(tmp_path / "other.xlsx", ZONE)[1] == [
        "no worksheet is a count sheet: 'Count sheet' is expected in cell A1"
    ]


def test_sheets_of_a_recount_hold_only_what_was_asked(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    house.count(census, {"goby": 6})
    house.count(census, {"goby": 6}, round=2)
    sheet = blind_sheets(Sheet.objects.select_related("place"), round=2)[0]
    assert [line.name for line in sheet.lines] == ["Gobius niger"]


def decisions(tmp_path: Path, text: str) -> Any:
    path = tmp_path / "decisions.csv"
    path.write_text(text, encoding="utf-8")
    return read_decisions(path)


def test_a_decisions_file_is_read_row_by_row(tmp_path: Path) -> None:
    asked, problems = decisions(
        tmp_path,
        "line,how,reason,n,kind,happened,accessions,approved_by,due\n"
        "K1 Gobius niger,adjustment,eaten (suspected),-5,,,,Oskar,\n"
        "CS-26Q3-01 line 2,late event,body found,1,died,2026-09-27,A1,,2026-10-14\n",
    )
    assert problems == []
    assert (asked[0].line, asked[0].approved_by, asked[0].settling.n) == ("K1 Gobius niger", "Oskar", -5)
    late = asked[1].settling
    assert (late.how, late.kind, late.accessions) == (How.LATE_EVENT, EventKind.DIED, ("A1",))


def test_every_bad_cell_of_a_decisions_file_is_told(tmp_path: Path) -> None:
    asked, problems = decisions(
        tmp_path, "line,how,n,kind,due\nA 1,guess,1,,\nA 2,adjustment,some,vanished,soon\nA 3,,,,\n"
    )
    assert asked == []
    assert [problem.partition(":")[0] for problem in problems] == [
        "row 2, column how",
        "row 3, column n",
        "row 3, column kind",
        "row 3, column due",
        "row 4, column how",
    ]


def test_an_unknown_or_missing_column_of_a_decisions_file_is_told(tmp_path: Path) -> None:
    assert decisions(tmp_path, "line,colour\nA 1,red\n")[1] == [
        "row 1: unknown column 'colour'",
        "row 1: the column how is missing",
    ]
