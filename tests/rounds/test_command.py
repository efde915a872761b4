"""``census``: the whole way of a census from the command line."""

import csv
import io
import json
from pathlib import Path

import openpyxl
import pytest
from django.core.management import CommandError, call_command

from census.rounds.models import Census, Count, Sheet
from census.rounds.rules.sheet_layout import COLUMNS, HEADER_ROW
from census.rounds.rules.words import CensusState, SheetState
from inventory.book.models import PeriodVersion

from .house import HELD, WITHOUT, TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


def census(*arguments: str) -> tuple[str, str]:
    """(stdout, stderr) of one call."""
    out, err = io.StringIO(), io.StringIO()
    call_command("census", *arguments, stdout=out, stderr=err, no_color=True)
    return out.getvalue(), err.getvalue()


def refused(*arguments: str) -> str:
    """stderr of a call that ends with exit 1."""
    err = io.StringIO()
    with pytest.raises(SystemExit) as stopped:
        call_command("census", *arguments, stdout=io.StringIO(), stderr=err, no_color=True)
    assert stopped.value.code == 1
    assert "Nothing was changed." in err.getvalue()
    return err.getvalue()


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_a_census_goes_from_open_to_signed(house: TestHouse, tmp_path: Path) -> None:
    _, told = census("open", "2026 Q3", "--by", "Runa", "--places", "K1,K2,RA,RB,LO")
    assert "warning, no counter: CS-26Q3-01 (K1): no counter is named" in told
    census("sheets", "CS-26Q3", "--out", str(tmp_path), "--issue", "--by", "Runa")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "CS-26Q3-01.xlsx",
        "CS-26Q3-02.xlsx",
        "CS-26Q3-03.xlsx",
        "CS-26Q3-L1.xlsx",
    ]
    for path in sorted(tmp_path.iterdir()):
        _fill(house, path)
        census("take", str(path), "--by", "Runa")
    _, told = census("take", str(tmp_path / "CS-26Q3-01.xlsx"), "--by", "Runa")
    assert told == "CS-26Q3-01: 0 counts new, 0 replaced, 6 the same\n"
    out, _ = census("compare", "CS-26Q3", "--by", "Runa", "--format", "csv")
    goby = next(row for row in rows(out) if row["name"] == "Gobius niger")
    assert (goby["book"], goby["count_1"], goby["difference"], goby["state"]) == ("11", "8", "-3", "outside")
    told = refused("sign", "CS-26Q3", "--by", "Oskar")
    assert "sheet out: CS-26Q3-01 (K1) is started and not handed in" in told
    assert "not settled: CS-26Q3-01 line 3, Gobius niger: outside tolerance (-3)" in told
    Sheet.objects.update(state=SheetState.HANDED_IN.value)
    bodies = ["--how", "late_event", "--kind", "died", "--n", "3", "--happened", "2026-09-20", "--by", "Runa"]
    out, _ = census(
        "settle", "CS-26Q3", "--line", "K1 Gobius niger", "--reason", "body found", *bodies, "--format", "csv"
    )
    assert [(row["settled_by"], row["closing"]) for row in rows(out)] == [("late_event", "8")]
    _, told = census("sign", "CS-26Q3", "--by", "Oskar", "--without-sample", WITHOUT)
    assert told == "CS-26Q3 is signed: 2026 Q3 version 1 is closed\n"
    assert Census.objects.get().state == CensusState.CLOSED
    assert PeriodVersion.objects.count() == 1


def _fill(house: TestHouse, path: Path) -> None:
    """Fills the sheet with what the book holds, save three gobies too few."""
    by_name = {house.lots[name].taxon.scientific_name: n for name, n in HELD.items()}
    numbers = by_name | {"Gobius niger": 8, "Raja undulata": 1}
    in_place = {("Symphodus melops", "K1"): 18, ("Palaemon serratus", "RA"): 30}
    book = openpyxl.load_workbook(path)
    page = book.worksheets[0]
    page["B5"], page["B6"] = "Alda", "2026-09-29 10:00"
    for row in range(HEADER_ROW + 1, page.max_row + 1):
        name = str(page.cell(row, COLUMNS.index("name") + 1).value or "")
        place = str(page.cell(row, COLUMNS.index("place") + 1).value)
        if name:
            here = in_place.get((name, place), numbers.get(name))
            page.cell(row, COLUMNS.index("count") + 1, here)
    book.save(path)


def test_settle_takes_a_csv_file_all_or_nothing(house: TestHouse, tmp_path: Path) -> None:
    counted = house.compared({"goby": 6, "wrasse": 24, "wrasse q": 0})
    house.count(counted, {"goby": 6, "wrasse": 24, "wrasse q": 0}, round=2)
    head = "line,how,reason,n,happened,to_line,approved_by\n"
    move = "K2 Symphodus melops,late_move,late move,6,2026-09-21,K1 Symphodus melops,\n"
    loss = "K1 Gobius niger,adjustment,eaten (suspected),-5,,,Oskar\n"
    path = tmp_path / "decisions.csv"
    path.write_text(head + move + loss.replace("Oskar", ""))
    told = refused("settle", counted.code, str(path), "--by", "Runa")
    assert "row 3: CS-26Q3-01 line 3: the curator's approval is needed" in told
    path.write_text(head + move + loss)
    out, _ = census("settle", counted.code, str(path), "--by", "Runa", "--format", "json")
    assert {row["line"]: row["settled_by"] for row in json.loads(out)} == {
        "CS-26Q3-01 line 3": "adjustment",
        "CS-26Q3-01 line 4": "late_move",
        "CS-26Q3-02 line 2": "late_move",
    }
    again, _ = census("settle", counted.code, str(path), "--by", "Runa", "--format", "json")
    assert json.loads(again) == json.loads(out)


def test_explain_gives_ranked_guesses(house: TestHouse) -> None:
    counted = house.compared({"wrasse": 24, "wrasse q": 0})
    out, _ = census("explain", counted.code, "--format", "csv")
    firsts = [row for row in rows(out) if row["rank"] == "1"]
    assert [(row["cause"], row["explains"], row["how"]) for row in firsts] == [
        ("move never entered", "6", "late_move"),
        ("move never entered", "-6", "late_move"),
    ]


@pytest.mark.parametrize("what", ["sheets", "lines", "accuracy", "totals", "open"])
@pytest.mark.parametrize("form", ["table", "csv", "json"])
def test_show_shows(house: TestHouse, what: str, form: str) -> None:
    counted = house.compared({"goby": 6})
    out, _ = census("show", counted.code, "--what", what, "--format", form)
    assert {"sheets": "CS-26Q3-01", "lines": "Gobius niger", "accuracy": "all", "totals": "animal"}.get(
        what, "outside tolerance (-5)"
    ) in out


def test_show_accuracy_says_how_many_lines_are_not_counted(house: TestHouse) -> None:
    counted = house.opened_and_issued()
    house.count(counted, {"goby": 11})
    out, _ = census("show", counted.code, "--what", "accuracy", "--format", "csv")
    everything = rows(out)[-1]
    assert (everything["lines"], everything["latest_counted"], everything["not_counted"]) == ("8", "1", "7")


def test_take_tells_the_file_and_takes_nothing(house: TestHouse, tmp_path: Path) -> None:
    house.opened_and_issued("K1")
    census("sheets", "CS-26Q3", "--out", str(tmp_path / "all.xlsx"))
    book = openpyxl.load_workbook(tmp_path / "all.xlsx")
    book.worksheets[0].cell(HEADER_ROW + 1, COLUMNS.index("count") + 1, "lots")
    book.save(tmp_path / "all.xlsx")
    told = refused("take", str(tmp_path / "all.xlsx"), "--by", "Runa")
    assert "all.xlsx: sheet CS-26Q3-01, row 10, column count: 'lots' cannot be read" in told
    assert not Count.objects.exists()


@pytest.mark.parametrize(
    "arguments",
    [
        ("open", "1999 Q1", "--by", "Runa"),
        ("open", "2026 Q3", "--by", "Nemo"),
        ("open", "2026 Q3", "--by", "Runa", "--places", "K1,Atlantis"),
        ("show", "CS-99Q9"),
        ("take", "nowhere.xlsx", "--by", "Runa"),
    ],
)
def test_what_does_not_exist_is_bad_usage(house: TestHouse, arguments: tuple[str, ...]) -> None:
    with pytest.raises(CommandError) as error:
        census(*arguments)
    assert error.value.returncode == 2
