"""Which classes a census counts, and who is suggested to count its sheets."""

import json
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import issue
from census.rounds.models import Census, Line
from census.rounds.queries.holdings import holdings, newcomers, on_no_line
from census.rounds.queries.keepers import keepers_of
from census.rounds.queries.warnings import WarningKind, opening_warnings
from census.rounds.writers.statement import papers
from inventory.book.models import Keeping, PeriodVersion
from tests import factories

from .house import NOW, OPENED, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db


def classes_of(census: Census) -> set[str]:
    return set(Line.objects.filter(sheet__census=census).values_list("count_class", flat=True))


def test_a_census_counts_the_classes_that_were_chosen_and_what_has_none(house: TestHouse) -> None:
    census = house.open("K1", "K2", classes="A")
    assert classes_of(census) == {"A", ""}
    assert census.left_out == "B, C, D"
    assert classes_of(house_with_another_period(house).open("K1", "K2", now=at("2026-12-10T09:00"))) == {
        "A",
        "B",
        "C",
        "",
    }


def house_with_another_period(house: TestHouse) -> TestHouse:
    house.period = factories.make_period("2026 Q4", "2026-10-01", "2026-12-31")
    return house


@pytest.mark.parametrize("classes", ["", "AX"])
def test_classes_that_there_are_none_of_are_refused(house: TestHouse, classes: str) -> None:
    with pytest.raises(CensusRefused, match="Choose the classes to be counted"):
        house.open("K1", classes=classes)


def test_what_is_left_out_stands_on_no_line_and_is_no_fault(house: TestHouse) -> None:
    census = house.open("K1", "K2", "RA", "LO", classes="AC")
    here = holdings(before=census.cutoff)
    assert on_no_line(census, here) == []
    assert newcomers(census.sheets.get(place=house.places["K1"])) == []
    kinds = {one.kind for one in opening_warnings(census, now=OPENED)}
    assert WarningKind.LIST_CHANGED not in kinds
    # Of the classes that are counted, what came since is told as ever.
    lot = factories.make_lot(taxon=factories.make_taxon(count_class="C"))
    house.lots["herring"] = lot
    factories.make_event("opening", lot=lot, place=house.places["K1"], unknown=40, happened="2026-09-20")
    assert [one.lot_id for one in on_no_line(census, holdings(before=census.cutoff))] == [lot.pk]


def keeps(house: TestHouse, name: str, place: str, since: str, until: str | None = None) -> None:
    Keeping.objects.create(
        place=house.places[place],
        keeper=getattr(house, name),
        since=date.fromisoformat(since),
        until=date.fromisoformat(until) if until else None,
    )


def test_the_keepers_of_a_place_are_suggested_also_of_what_is_in_it(house: TestHouse) -> None:
    inner = factories.make_place("K1a", parent=house.places["K1"])
    keeps(house, "first", "K1", "2026-01-01")
    keeps(house, "second", "K1", "2025-01-01", "2026-08-31")
    found = keepers_of([house.places["K1"], inner, house.places["K2"]], today=OPENED.date())
    assert found == {
        house.places["K1"].pk: {house.first.pk},
        inner.pk: {house.first.pk},
        house.places["K2"].pk: frozenset(),
    }


def test_keepers_are_named_and_may_be_changed_until_the_sheet_is_issued(house: TestHouse) -> None:
    keeps(house, "first", "K1", "2026-01-01")
    census = house.open("K1", "K2", "LO", keepers_count=True)
    sheet = census.sheets.get(place=house.places["K1"])
    assert list(sheet.counters.all()) == [house.first]
    assert {one.counters.count() for one in census.sheets.exclude(pk=sheet.pk)} == {0}
    # Class A with one counter is told at once.
    kinds = {one.kind for one in opening_warnings(census, now=OPENED) if one.sheet == sheet.number}
    assert WarningKind.ONE_COUNTER in kinds
    issue(sheet=sheet, by=house.registrar, now=NOW, counters=[house.second])
    assert list(sheet.counters.all()) == [house.second]


def test_a_sheet_that_is_issued_without_a_word_keeps_those_named(house: TestHouse) -> None:
    keeps(house, "first", "K1", "2026-01-01")
    sheet = house.open("K1", keepers_count=True).sheets.get()
    issue(sheet=sheet, by=house.registrar, now=NOW)
    assert list(sheet.counters.all()) == [house.first]


@pytest.mark.usefixtures("frozen_clock")
def test_the_page_takes_both_tells_the_cut_off_and_shows_the_warnings(
    house: TestHouse, client: Client
) -> None:
    keeps(house, "first", "K1", "2026-01-01")
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    stated = {
        "period": "2026 Q3",
        "places": [house.places["K1"].pk],
        "classes": ["A", "B"],
        "keepers": "on",
    }
    assert "No other day can be chosen" in client.get(reverse("census_list")).content.decode()
    page = client.post(reverse("census_list"), stated, follow=True).content.decode()
    assert "nothing is compared at the cut-off" in page
    for words in (
        "with the cut-off at the end of 30 September 2026",
        "Class C, D is not counted in it",
        "To see to before the counters go out",
        "class A with Alda alone; it is counted by two",
    ):
        assert words in page, words
    census = Census.objects.get()
    assert (census.classes, classes_of(census)) == ("AB", {"A", "B"})
    sheet = client.get(reverse("sheet", args=[census.sheets.get().number])).content.decode()
    assert f'<option value="{house.first.pk}" selected>' in sheet
    signing = client.get(reverse("census_sign", args=[census.code])).content.decode()
    assert "its animals close as the book has them" in signing


def test_the_paper_of_a_census_says_which_classes_it_counted(house: TestHouse) -> None:
    house.open("K1", classes="AB")
    version = PeriodVersion(period=house.period, number=1, closed_at=NOW, signed_by=house.curator)
    (paper,) = papers(version, ZONE)
    assert json.loads(paper.content)["classes"] == "AB"
