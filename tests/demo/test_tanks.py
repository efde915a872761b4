"""The demo's keepers, readings and stays: what a keeper finds in the morning of 6 October 2026."""

import re
from datetime import date

import pytest
import time_machine
from django.test import Client

from inventory.book.models import Place
from inventory.book.queries.keeping import keepers_of, places_kept
from inventory.people.models import Person
from inventory.tankside.models import Reading
from inventory.tankside.queries.quarantine import isolation

from .conftest import DemoHouse

pytestmark = pytest.mark.django_db


def test_every_keeping_begins_on_the_first_day_or_after_the_one_before(house: DemoHouse) -> None:
    """From fixtures/demo/keepers.csv: Corin left on 31 August 2025, and others took over."""
    pools = Place.objects.get(code="E03")
    assert [person.name for person in keepers_of(pools, on=date(2024, 10, 1))] == ["Corin Bathgate-Voe"]
    assert [person.name for person in keepers_of(pools, on=date(2025, 8, 31))] == ["Corin Bathgate-Voe"]
    assert [person.name for person in keepers_of(pools, on=date(2025, 9, 1))] == ["Ade Quillanter"]
    ade = Person.objects.get(name="Ade Quillanter")
    kept = Place.objects.filter(pk__in=places_kept(ade, on=date(2026, 10, 6))).order_by("code")
    assert [place.code for place in kept] == ["E03", "E03a", "E03b", "E03c", "E07", "Q1"]


def test_the_same_readings_come_out_of_every_build(house: DemoHouse) -> None:
    assert Reading.objects.filter(taken_at__gt=house.now).count() == 0
    newest = Reading.objects.filter(place__code="E02", quantity="temperature").latest("taken_at")
    assert (str(newest.value), newest.unit, newest.by and newest.by.name) == (
        "10.4000",
        "°C",
        "Sunniva Aldrask",
    )


def test_a_keeper_finds_the_own_tanks_and_no_others(house: DemoHouse) -> None:
    petra = Person.objects.get(name="Petra Lisgowan")
    client = Client()
    assert petra.user is not None
    client.force_login(petra.user)
    with time_machine.travel(house.now, tick=False):
        page = client.get("/my-tanks").text
    assert "E04 Temperature" in page
    # Her own recount in a tank of somebody else is hers all the same; what else waits there is not.
    assert "E07 Skerry Caves: recount asked" in page
    assert not re.search(r"\bE02\b", page)
    assert not re.search(r"\bE08\b", page)


def test_quarantine_and_hospital_have_days_in(house: DemoHouse) -> None:
    stays = isolation(now=house.now).stays
    assert {one.place.code for one in stays} <= {"Q1", "Q2", "H1"}
    assert stays
    assert all(one.days >= 0 for one in stays)
