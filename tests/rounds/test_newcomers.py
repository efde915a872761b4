"""What a late entry brings to a tank after its sheet was made gets a line, from the page that asks for it."""

import pytest
from django.test import Client
from django.urls import reverse

from census.rounds.queries.open_items import open_items
from census.rounds.queries.reading import read_census
from inventory.people.models import Person
from tests import factories

from .house import TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


def signed_in(person: Person) -> Client:
    client = Client()
    assert person.user is not None
    client.force_login(person.user)
    return client


def test_a_late_move_stands_against_signing_until_its_line_is_added_on_the_sheet(house: TestHouse) -> None:
    census = house.compared({})
    factories.make_event(
        "moved", lot=house.lots["conger"], place="K1", to_place="K2", unknown=1, happened="2026-09-25"
    )
    (asked,) = [one for one in open_items(census, read_census(census)) if "add a line" in one.text]
    sheet = house.line(census, "wrasse q").sheet
    assert asked.sheet == sheet.number
    client, page = signed_in(house.registrar), reverse("sheet", args=[sheet.number])
    assert house.lots["conger"].accession in client.get(page).text
    before = sheet.lines.count()

    client.post(reverse("sheet_step", args=[sheet.number, "list"]))
    line = sheet.lines.order_by("number").last()
    assert line is not None
    assert (sheet.lines.count(), line.number) == (before + 1, before + 1)
    assert (line.kind, line.count_class, line.place.code) == ("individuals", "A", "K2")
    assert list(line.lots.all()) == [house.lots["conger"]]
    assert line.added_by == house.registrar
    assert "Add a line for each" not in client.get(page).text
    assert not [one for one in open_items(census, read_census(census)) if "add a line" in one.text]


def test_who_counts_is_told_of_no_newcomer_and_adds_no_line(house: TestHouse) -> None:
    census = house.opened_and_issued()
    factories.make_event(
        "moved", lot=house.lots["conger"], place="K1", to_place="K2", unknown=1, happened="2026-09-25"
    )
    sheet = house.line(census, "wrasse q").sheet
    client, before = signed_in(house.first), sheet.lines.count()
    assert "Add a line for each" not in client.get(reverse("sheet", args=[sheet.number])).text
    client.post(reverse("sheet_step", args=[sheet.number, "list"]))
    assert sheet.lines.count() == before
