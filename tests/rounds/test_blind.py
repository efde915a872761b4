"""Blind sheets: nothing in the bytes of page or workbook gives a number away."""

import zipfile
from pathlib import Path

import openpyxl
import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.recounts import ask_recount
from census.rounds.models import Sheet
from census.rounds.queries.blind import blind_sheet, blind_sheets
from census.rounds.rules.sheet_layout import BOXES, COLUMNS, HEADER_ROW
from census.rounds.writers.count_sheets import write_sheets
from tests import factories

from .house import COUNTED, NOW, TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]

# Numbers that stand nowhere else on a page: the book's, a first count's, and its range.
BOOK, FIRST, LOW, HIGH = 7_391_391, 6_847_847, 6_733_733, 6_929_929
NUMBERS = [str(n) for n in (BOOK, FIRST, LOW, HIGH)] + [f"{n:,}" for n in (BOOK, FIRST, LOW, HIGH)]


@pytest.fixture
def counted_sheet(house: TestHouse) -> Sheet:
    """A sheet with herring that the book has 7391 of and the first counter 6847, out for a recount."""
    factories.make_event(
        "received", lot=house.lots["shoal"], place="K1", unknown=BOOK - 420, happened="2026-09-01"
    )
    census = house.compared({"shoal": FIRST})
    line = house.line(census, "shoal")
    ranged = Entry(
        line=line.number,
        counted_at=COUNTED,
        counter=house.first,
        value=FIRST,
        low=LOW,
        high=HIGH,
    )
    take_counts(sheet=line.sheet, entries=[ranged], by=house.first, now=NOW)
    ask_recount(lines=[line], of=house.second, by=house.registrar, now=NOW)
    return Sheet.objects.get(pk=line.sheet_id)


@pytest.mark.parametrize("round_", [1, 2])
def test_the_page_of_a_sheet_holds_no_number_of_the_book_or_of_another(
    house: TestHouse, counted_sheet: Sheet, client: Client, round_: int
) -> None:
    client.force_login(house.second.user)  # type: ignore[arg-type]
    page = client.get(reverse("sheet", args=[counted_sheet.number]) + f"?round={round_}").content.decode()
    assert "Clupea harengus" in page
    assert ("Gobius niger" in page) == (round_ == 1)
    for number in NUMBERS:
        assert number not in page


def test_a_registrar_on_a_sheet_sees_no_number_either(
    house: TestHouse, counted_sheet: Sheet, client: Client
) -> None:
    client.force_login(house.registrar.user)  # type: ignore[arg-type]
    page = client.get(reverse("sheet", args=[counted_sheet.number])).content.decode()
    assert reverse("differences", args=[counted_sheet.census.code]) in page
    for number in NUMBERS:
        assert number not in page


def test_a_counter_finds_the_own_numbers_of_this_round_again(
    house: TestHouse, counted_sheet: Sheet, client: Client
) -> None:
    client.force_login(house.first.user)  # type: ignore[arg-type]
    page = client.get(reverse("sheet", args=[counted_sheet.number])).content.decode()
    assert f'value="{FIRST}"' in page
    assert str(BOOK) not in page


@pytest.mark.parametrize("round_", [1, 2])
def test_the_workbook_of_a_sheet_holds_no_number(counted_sheet: Sheet, tmp_path: Path, round_: int) -> None:
    path = tmp_path / "sheet.xlsx"
    write_sheets([blind_sheet(counted_sheet, round=round_)], path)
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name).decode() for name in archive.namelist()}
    assert any("Clupea harengus" in text for text in parts.values())
    for number in NUMBERS:
        assert not [name for name, text in parts.items() if number in text]


def test_the_workbook_has_the_list_and_empty_boxes(counted_sheet: Sheet, tmp_path: Path) -> None:
    path = tmp_path / "sheet.xlsx"
    write_sheets([blind_sheet(counted_sheet)], path)
    page = openpyxl.load_workbook(path).worksheets[0]
    assert (page["A1"].value, page["B1"].value) == ("Count sheet", counted_sheet.number)
    rows = list(page.iter_rows(min_row=HEADER_ROW + 1, values_only=True))
    names = [row[COLUMNS.index("name")] for row in rows if row[COLUMNS.index("name")]]
    assert names[:2] == ["Clupea harengus", "Conger conger"]
    assert "Thole" in [row[COLUMNS.index("marks")] for row in rows]
    first_box = COLUMNS.index(BOXES[0])
    assert all(cell in (None, "") for row in rows for cell in row[first_box:])


def test_what_somebody_wrote_in_is_not_told_to_the_next_counter(
    house: TestHouse, counted_sheet: Sheet
) -> None:
    found = Entry(line=0, written_name="Styela clava", counted_at=COUNTED, counter=house.first, value=3)
    take_counts(sheet=counted_sheet, entries=[found], by=house.first, now=NOW)
    assert "Styela clava" not in [line.name for line in blind_sheet(counted_sheet).lines]
    mine = blind_sheet(counted_sheet, person=house.first)
    assert "Styela clava" in [line.name for line in mine.lines]


def test_more_sheets_ask_no_more_queries(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    census = house.opened_and_issued()
    sheets = list(census.sheets.select_related("place"))
    with django_assert_num_queries(3):
        blind_sheets(sheets[:1])
    with django_assert_num_queries(3):
        assert len(blind_sheets(sheets)) == 4
