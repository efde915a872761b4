"""Opening a census: sheets and lines from what the book holds."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.opening import add_line
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import hand_in, issue, replace_sheet
from census.rounds.models import Line, Sheet
from census.rounds.queries.reading import read_census
from census.rounds.rules.words import CensusState, LineKind, LineState, SheetForm, SheetState
from tests import factories

from .house import NOW, TestHouse, at, stock

pytestmark = pytest.mark.django_db


def test_sheets_are_numbered_in_the_order_of_places_and_loans_get_a_letter(house: TestHouse) -> None:
    census = house.open()
    assert census.code == "CS-26Q3"
    assert [(s.number, s.place.code, s.form) for s in census.sheets.all()] == [
        ("CS-26Q3-01", "K1", SheetForm.SHEET),
        ("CS-26Q3-02", "K2", SheetForm.SHEET),
        ("CS-26Q3-03", "RA", SheetForm.SHEET),
        ("CS-26Q3-L1", "LO", SheetForm.LETTER),
    ]
    assert census.cutoff == at("2026-10-01T00:00")
    assert census.state == CensusState.PLANNED


def test_lines_are_what_the_book_holds_and_individuals_of_a_taxon_share_one(house: TestHouse) -> None:
    census = house.open()
    listed = [
        (line.taxon.scientific_name if line.taxon else "", line.kind, line.count_class, line.lots.count())
        for line in Line.objects.filter(sheet__number="CS-26Q3-01")
    ]
    assert listed == [
        ("Clupea harengus", LineKind.GROUP, "C", 1),
        ("Conger conger", LineKind.INDIVIDUALS, "A", 2),
        ("Gobius niger", LineKind.GROUP, "B", 1),
        ("Symphodus melops", LineKind.GROUP, "B", 1),
        ("Trisopterus luscus", LineKind.GROUP, "B", 1),
        ("Trisopterus minutus", LineKind.GROUP, "B", 1),
    ]
    assert house.line(census, "ray").kind == LineKind.LETTER


def test_egg_cases_have_a_line_without_a_class(house: TestHouse) -> None:
    line = house.line(house.open(), "cases")
    assert (line.unit, line.count_class) == ("egg case", "")


def test_joined_tanks_are_on_one_sheet_and_compared_on_their_sum(house: TestHouse) -> None:
    census = house.open()
    assert house.line(census, "prawn a").sheet == house.line(census, "prawn b").sheet
    prawns = house.row(census, "prawn a")
    assert [part.line.place.code for part in prawns.parts] == ["RA", "RB"]
    assert prawns.latest is not None
    assert prawns.latest.book == 42


def test_places_inside_a_place_are_on_its_sheet(house: TestHouse) -> None:
    inside = factories.make_place("K1a", parent=house.places["K1"])
    house.places["K1a"] = inside
    house.lots["blenny"] = factories.make_lot(taxon=factories.make_taxon(count_class="B"))
    stock(house, "blenny", "K1a", 4)
    census = house.open("K1")
    line = house.line(census, "blenny")
    assert (line.sheet.place.code, line.place.code) == ("K1", "K1a")


def test_the_registrars_class_of_a_lot_goes_before_that_of_the_taxon(house: TestHouse) -> None:
    house.lots["goby"].count_class = "C"
    house.lots["goby"].save(update_fields=["count_class"])
    assert house.line(house.open(), "goby").count_class == "C"


def test_presence_lines_come_from_the_census_before(house: TestHouse) -> None:
    sponge = factories.make_taxon("Halichondria panicea", count_class="D")
    before = house.open("K1", now=at("2026-09-01T09:00"))
    add_line(
        sheet=before.sheets.get(),
        kind=LineKind.PRESENCE,
        taxon=sponge,
        count_class="D",
        by=house.registrar,
        now=NOW,
    )
    house.period = factories.make_period("2026 Q4", "2026-10-01", "2026-12-31")
    census = house.open("K1", now=at("2026-12-10T09:00"))
    last = census.sheets.get().lines.last()
    assert last is not None
    assert (last.taxon, last.kind) == (sponge, LineKind.PRESENCE)
    row = read_census(census)[-1]
    assert (row.latest, row.state) == (None, LineState.NOT_COUNTED)


def test_a_period_has_one_census(house: TestHouse) -> None:
    house.open()
    with pytest.raises(CensusRefused, match="CS-26Q3"):
        house.open(code="CS-26Q3-again")


def test_feed_is_never_counted(house: TestHouse) -> None:
    house.places["F1"] = factories.make_place("F1", kind="feed")
    with pytest.raises(CensusRefused, match="never stock"):
        house.open("F1")


def test_more_lots_and_places_ask_no_more_queries(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    house.open()
    house.period = factories.make_period("2026 Q4", "2026-10-01", "2026-12-31")
    with CaptureQueriesContext(connection) as few:
        house.open(now=at("2026-12-10T09:00"))
    for k in range(5):
        place = house.places[f"X{k}"] = factories.make_place(f"X{k}")
        house.lots[f"x{k}"] = factories.make_lot(taxon=factories.make_taxon(count_class="B"))
        stock(house, f"x{k}", place.code, 3)
    house.period = factories.make_period("2027 Q1", "2027-01-01", "2027-03-31")
    with django_assert_num_queries(len(few)):
        house.open(*house.places, now=at("2027-03-10T09:00"))
    assert Line.objects.filter(sheet__census__code="CS-27Q1").count() == 16


def test_a_lost_sheet_is_replaced_with_its_lines_and_kept(house: TestHouse) -> None:
    census = house.opened_and_issued("K1")
    lost = census.sheets.get()
    new = replace_sheet(sheet=lost, state=SheetState.LOST, by=house.registrar, now=NOW, note="fell in")
    lost.refresh_from_db()
    assert (lost.state, lost.replaced_by, new.number) == (SheetState.LOST, new, "CS-26Q3-01B")
    assert new.lines.count() == lost.lines.count() == 6
    assert {row.line.sheet for row in read_census(census)} == {new}
    assert house.line(census, "goby").sheet == new


def test_a_sheet_goes_its_way_and_no_other(house: TestHouse) -> None:
    sheet = house.open("K1").sheets.get()
    with pytest.raises(CensusRefused, match="not issued"):
        hand_in(sheet=sheet, by=house.first, now=NOW)
    issue(sheet=sheet, by=house.registrar, now=NOW, list_version="2025")
    with pytest.raises(CensusRefused, match="cannot become issued"):
        issue(sheet=sheet, by=house.registrar, now=NOW)
    sheet.refresh_from_db()
    assert (sheet.state, sheet.list_version, sheet.issued_at) == (SheetState.ISSUED, "2025", NOW)
    assert Sheet.objects.get().census.state == CensusState.ISSUED
