"""What a registrar forgot, lost or mistook: a place without a sheet, a sheet, a whole census."""

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.added_sheets import add_sheet
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import issue, issue_all, replace_sheet
from census.rounds.models import Census, Line, Sheet
from census.rounds.queries.open_items import ItemKind, open_items
from census.rounds.queries.out import censuses_with_sheets
from census.rounds.queries.reading import read_census
from census.rounds.queries.unsheeted import places_to_count, unsheeted
from census.rounds.rules.words import CensusState, LineKind, SheetState
from inventory.book.models import PeriodVersion
from tests import factories

from .house import COUNTED, NOW, OPENED, TestHouse, at, stock

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


@pytest.fixture
def registrar(house: TestHouse, client: Client) -> Client:
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    return client


def test_censuses_are_listed_newest_first(house: TestHouse) -> None:
    house.open("K1")
    house.period = factories.make_period("2026 Q4", "2026-10-01", "2026-12-31")
    house.open("K1", now=at("2026-12-10T09:00"))
    assert [one.code for one in censuses_with_sheets()] == ["CS-26Q4", "CS-26Q3"]


def test_no_census_is_opened_of_a_period_that_is_closed(house: TestHouse) -> None:
    PeriodVersion.objects.create(
        period=house.period, number=1, closed_at=OPENED, signed_by=house.curator, boundary=OPENED
    )
    with pytest.raises(CensusRefused, match="2026 Q3 version 1 is closed"):
        house.open("K1")
    assert not Census.objects.exists()


def test_a_period_that_has_not_begun_is_not_counted(house: TestHouse) -> None:
    with pytest.raises(CensusRefused, match="2026 Q3 begins on 1 July 2026"):
        house.open("K1", now=at("2026-06-30T23:59"))
    assert house.open("K1", now=at("2026-07-01T00:00")).code == "CS-26Q3"


def test_the_form_has_a_tick_at_what_holds_animals_and_none_inside_it(
    house: TestHouse, registrar: Client
) -> None:
    inside = factories.make_place("K1a", parent=house.places["K1"])
    house.places["K1a"] = inside
    house.lots["inside"] = factories.make_lot(taxon=factories.make_taxon(count_class="B"))
    stock(house, "inside", "K1a", 4)
    empty = factories.make_place("EMPTY")
    page = registrar.get(reverse("census_list")).content.decode()
    ticked = {int(pk) for pk in re.findall(r'name="places" value="(\d+)"[^>]*checked', page)}
    assert ticked == set(places_to_count(now=NOW))
    assert house.places["K1"].pk in ticked
    assert not ticked & {inside.pk, empty.pk}


def test_a_place_that_was_forgotten_stands_once_against_signing_and_gets_its_sheet(
    house: TestHouse, registrar: Client
) -> None:
    census = house.open("K2", "RA", "LO")
    items = [one for one in open_items(census, read_census(census)) if one.kind is ItemKind.NO_SHEET]
    n = unsheeted(census)[0].lots
    assert n > 1
    (text,) = [one.text for one in items]
    assert text.startswith("no sheet counts K1, where the book holds ")
    assert text.endswith(f" and {n - 3} more lots at the cut-off: add one on the board")
    board = registrar.get(reverse("census", args=[census.code])).content.decode()
    assert "Places without a sheet" in board
    registrar.post(reverse("census_add_sheet", args=[census.code]), {"place": "K1"})
    made = Sheet.objects.get(census=census, place=house.places["K1"])
    assert (made.number, made.state) == ("CS-26Q3-03", SheetState.NOT_ISSUED)
    assert "Gobius niger" in made.lines.values_list("taxon__scientific_name", flat=True)
    assert Line.lots.through.objects.filter(line__sheet=made).count() == n
    assert unsheeted(census) == []
    again = registrar.post(reverse("census_add_sheet", args=[census.code]), {"place": "K1"}, follow=True)
    assert "K1 is on a sheet of CS-26Q3 already" in again.content.decode()
    assert Sheet.objects.filter(census=census).count() == 4


def test_a_sheet_that_is_added_after_the_cut_off_lists_what_was_there_then(house: TestHouse) -> None:
    census = house.open("K2", "RA", "LO")
    later = census.cutoff + timedelta(days=2)
    factories.make_event("died", lot=house.lots["goby"], place="K1", unknown=11, happened="2026-10-02")
    made = add_sheet(census=census, place=house.places["K1"], by=house.registrar, now=later)
    assert Line.objects.filter(sheet=made, lots=house.lots["goby"]).exists()


def test_a_lost_sheet_is_replaced_on_its_page(house: TestHouse, registrar: Client) -> None:
    census = house.opened_and_issued()
    sheet = census.sheets.order_by("number")[0]
    step = reverse("sheet_step", args=[sheet.number, "replace"])
    said = registrar.post(step, {"state": "lost", "note": ""}, follow=True).content.decode()
    assert "was not replaced: say whether it is void or lost, and why" in said
    assert Sheet.objects.get(pk=sheet.pk).state == SheetState.ISSUED
    page = registrar.post(
        step, {"state": "lost", "note": "fell into the sump."}, follow=True
    ).content.decode()
    assert "CS-26Q3-01 is lost; this sheet takes its place. Issue it." in page
    old = registrar.get(reverse("sheet", args=[sheet.number])).content.decode()
    assert "fell into the sump. <a" in old
    assert reverse("sheet", args=["CS-26Q3-01B"]) in old
    assert 'name="value_' not in old
    # A second tab says so again: it is told, and nothing is made.
    stale = registrar.post(step, {"state": "void", "note": "again"}, follow=True).content.decode()
    assert "it cannot become void" in stale
    assert Sheet.objects.filter(place=sheet.place).count() == 2


def test_what_was_written_in_on_a_void_sheet_is_no_line_of_the_one_that_takes_its_place(
    house: TestHouse,
) -> None:
    census = house.opened_and_issued()
    sheet = house.line(census, "goby").sheet
    written = Entry(line=0, written_name="dogfish", counted_at=COUNTED, counter=house.first, value=5)
    take_counts(sheet=sheet, entries=[written], by=house.first, now=NOW)
    new = replace_sheet(
        sheet=sheet, state=SheetState.VOID, by=house.registrar, now=NOW, note="the wrong tank was counted"
    )
    listed = sheet.lines.exclude(kind=LineKind.WRITE_IN.value).values_list("number", "taxon", "place")
    assert set(new.lines.values_list("number", "taxon", "place")) == set(listed)


def test_sheets_that_name_their_counters_are_issued_at_once(house: TestHouse, registrar: Client) -> None:
    census = house.open()
    first, second, *_ = census.sheets.order_by("number")
    for sheet in (first, second):
        sheet.counters.add(house.first)
    address = reverse("census", args=[census.code])
    assert "Issue the 2 sheets that name counters" in registrar.get(address).content.decode()
    step = reverse("census_issue", args=[census.code])
    told = registrar.post(step, follow=True).content.decode()
    assert f"2 issued: {first.number}, {second.number}." in told
    assert "that name counters" not in told
    out = Sheet.objects.filter(state=SheetState.ISSUED, issued_at__isnull=False)
    assert set(out) == {first, second}
    assert Census.objects.get(pk=census.pk).state == CensusState.ISSUED
    assert "Nothing was issued." in registrar.post(step, follow=True).content.decode()


def test_more_sheets_are_issued_with_no_more_queries(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    census = house.open()
    first, second, *others = census.sheets.order_by("number")
    issue(sheet=first, by=house.registrar, now=NOW)
    second.counters.add(house.first)
    with CaptureQueriesContext(connection) as few:
        issue_all(census=census, by=house.registrar, now=NOW)
    assert len(others) > 1
    for sheet in others:
        sheet.counters.add(house.first)
    with django_assert_num_queries(len(few)):
        assert len(issue_all(census=census, by=house.registrar, now=NOW)) == len(others)


def test_a_census_that_was_opened_by_mistake_is_given_up_on_its_board(
    house: TestHouse, registrar: Client
) -> None:
    census = house.opened_and_issued()
    address = reverse("census_abandon", args=[census.code])
    said = registrar.post(address, {"note": " "}, follow=True).content.decode()
    assert "Nothing was done. Say why." in said
    page = registrar.post(address, {"note": "opened for the wrong quarter"}, follow=True).content.decode()
    assert "CS-26Q3 is given up. 2026 Q3 may be counted anew." in page
    assert "opened for the wrong quarter" in page
    assert Census.objects.get(pk=census.pk).state == CensusState.ABANDONED
    assert "Give this census up" not in page
    # The period is counted anew, from the same page, under the next code.
    asked = {"period": "2026 Q3", "places": [house.places["K1"].pk]}
    told = registrar.post(reverse("census_list"), asked, follow=True).content.decode()
    assert "CS-26Q3-2 is open" in told
    assert Sheet.objects.filter(number="CS-26Q3-2-01").exists()
