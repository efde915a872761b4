"""Three counts: no majority decides what is exact, of many animals the middle stands, no fourth is made."""

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from census.differences.rules.causes import Cause
from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.sheets import hand_in
from census.rounds.models import Census, Sheet
from census.rounds.queries.explaining import explanations
from census.rounds.queries.measures import measures_of
from census.rounds.queries.open_items import ItemKind, open_items
from census.rounds.queries.progress import sheets_of
from census.rounds.queries.reading import read_census
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.words import LineKind, LineState
from inventory.people.models import Person
from tests import factories

from .house import NOW, ZONE, TestHouse, at, stock

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


def third(house: TestHouse, census: Census, name: str, value: int, *, at_least: bool = False) -> None:
    """The curator counts as the third."""
    line = house.line(census, name)
    ask_recount(lines=[line], of=house.curator, by=house.registrar, now=at("2026-10-01T08:00"))
    entry = Entry(
        line=line.number,
        counted_at=at("2026-10-01T10:00"),
        counter=house.curator,
        value=value,
        at_least=at_least,
    )
    take_counts(sheet=line.sheet, entries=[entry], by=house.curator, now=NOW, round=3)


def page(client: Client, by: Person, address: str) -> str:
    assert by.user is not None
    client.force_login(by.user)
    return client.get(address).content.decode()


def test_of_three_counts_of_many_animals_the_middle_one_stands(house: TestHouse, client: Client) -> None:
    """That class C takes the middle of three counts is *common practice, no source*."""
    census = house.compared({"shoal": 330})
    house.count(census, {"shoal": 410}, round=2)
    assert house.row(census, "shoal").counts_disagree
    third(house, census, "shoal", 500)
    row = house.row(census, "shoal")
    assert row.latest is not None
    assert (row.latest.count, row.latest.difference, row.confirmed) == (410, -10, True)
    assert row.state is not LineState.OUTSIDE
    line = house.line(census, "shoal")
    words = page(client, house.registrar, reverse("census_line", args=[line.sheet.number, line.number]))
    assert "Of three counts of class C the middle one is taken." in words


def test_a_number_that_is_only_the_least_has_no_middle(house: TestHouse) -> None:
    census = house.compared({"shoal": 330})
    house.count(census, {"shoal": 410}, round=2)
    third(house, census, "shoal", 300, at_least=True)
    row = house.row(census, "shoal")
    assert row.latest is not None
    assert row.latest.count == 300
    assert not row.middle_of_three


def test_no_majority_decides_an_exact_number_and_no_fourth_count_is_asked(
    house: TestHouse, client: Client
) -> None:
    census = house.compared({"goby": 9})
    line = house.line(census, "goby")
    address = reverse("census_line", args=[line.sheet.number, line.number])
    house.count(census, {"goby": 9}, round=2)
    assert "Two counts agree." in page(client, house.registrar, address)
    third(house, census, "goby", 7)
    row = house.row(census, "goby")
    assert row.latest is not None
    assert (row.latest.count, row.state) == (7, LineState.OUTSIDE)
    words = page(client, house.registrar, address)
    assert "no further one is made in this census" in words
    assert "Ask a recount" not in words
    causes = [one.cause for one in explanations(census, read_census(census))[line.pk]]
    assert Cause.MISCOUNT not in causes
    assert Cause.LOSS in causes


def test_after_two_counts_that_differ_a_third_is_proposed_in_its_own_words(house: TestHouse) -> None:
    census = house.compared({"goby": 9})
    house.count(census, {"goby": 7}, round=2)
    found = explanations(census, read_census(census))[house.line(census, "goby").pk]
    again = next(one for one in found if one.cause is Cause.MISCOUNT)
    assert "2 counts that do not agree" in again.words
    assert "one count only" not in again.words


def test_board_signature_and_list_tell_the_same_lines_as_not_counted(
    house: TestHouse, client: Client
) -> None:
    """A letter of class D is no number: it is due once a year, and told apart. Joined tanks have two."""
    sponge = factories.make_taxon("Halichondria panicea", count_class="D")
    house.lots["sponge"] = factories.make_lot(taxon=sponge, unit="colony")
    stock(house, "sponge", "K1", 1)
    census = house.opened_and_issued()
    house.count(census, {"goby": 11})
    for sheet in census.sheets.all():
        hand_in(sheet=Sheet.objects.get(pk=sheet.pk), by=house.first, now=at("2026-10-01T09:00"))
    compare_counts(census=census, by=house.registrar, now=at("2026-10-01T10:00"))
    rows = read_census(census)
    letters = [row for row in rows if row.line.kind == LineKind.PRESENCE and not row.counted]
    assert len(letters) == 1
    board = sum(one.uncounted for one in sheets_of(census, now=NOW))
    signed = measures_of(census, rows, DEFAULTS, zone=ZONE).never_counted
    items = [one for one in open_items(census, rows) if one.kind is ItemKind.NOT_COUNTED]
    listed = sum(item.text.split(" not counted: ")[1].count(", ") + 1 for item in items)
    assert board == len(signed) == listed
    assert f"Lines not counted: {board}." in page(
        client, house.curator, reverse("census", args=[census.code])
    )


def test_what_is_handed_in_is_told_with_all_that_the_sheet_holds(house: TestHouse, client: Client) -> None:
    census = house.opened_and_issued("K1")
    house.count(census, {"goby": 11, "bib": 22})
    sheet = house.line(census, "goby").sheet
    assert house.first.user is not None
    client.force_login(house.first.user)
    address = reverse("sheet", args=[sheet.number])
    form = {
        "counter": house.first.pk,
        "counted_at": timezone.localtime(NOW).strftime("%Y-%m-%dT%H:%M"),
        f"value_{house.line(census, 'goby').number}": "11",
        f"value_{house.line(census, 'bib').number}": "22",
        "hand_in": "1",
    }
    words = client.post(address, form, follow=True).content.decode()
    assert "handed in, 2 lines counted; 4 lines blank, which is not counted." in words
