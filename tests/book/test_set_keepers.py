"""Keepers are changed from a day on; what was before is not rewritten."""

from datetime import date

import pytest
from django.test import Client

from inventory.book.actions.keeping import KeepingRefused, set_keepers
from inventory.book.models import Keeping, Place
from inventory.book.queries.keeping import keepers_of
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..factories import make_person, make_place

pytestmark = pytest.mark.django_db
FIRST, LATER = date(2026, 1, 1), date(2026, 9, 1)


def kept(place: Place) -> set[tuple[str, date, date | None]]:
    return {
        (row.keeper.name, row.since, row.until)
        for row in Keeping.objects.filter(place=place).select_related()
    }


@pytest.fixture
def people() -> tuple[Person, Person]:
    return make_person("Ade"), make_person("Petra")


def test_from_a_day_on_another_keeps_it_and_who_stays_goes_on(people: tuple[Person, Person]) -> None:
    ade, petra = people
    place = make_place()
    set_keepers(place=place, keepers=[ade], since=FIRST)
    set_keepers(place=place, keepers=[ade, petra], since=LATER)
    assert kept(place) == {("Ade", FIRST, None), ("Petra", LATER, None)}
    set_keepers(place=place, keepers=[petra], since=date(2026, 10, 1))
    assert kept(place) == {("Ade", FIRST, date(2026, 9, 30)), ("Petra", LATER, None)}
    assert keepers_of(place, on=date(2026, 9, 30)) == [ade, petra]
    assert keepers_of(place, on=date(2026, 10, 1)) == [petra]


def test_the_last_change_may_be_put_right_on_its_own_day(people: tuple[Person, Person]) -> None:
    ade, petra = people
    place = make_place()
    set_keepers(place=place, keepers=[ade], since=FIRST)
    set_keepers(place=place, keepers=[petra], since=LATER)
    set_keepers(place=place, keepers=[ade], since=LATER)
    assert kept(place) == {("Ade", FIRST, None)}
    set_keepers(place=place, keepers=[], since=LATER)
    assert kept(place) == {("Ade", FIRST, date(2026, 8, 31))}


def test_an_earlier_day_would_rewrite_the_past_and_is_refused(people: tuple[Person, Person]) -> None:
    ade, petra = people
    place = make_place()
    set_keepers(place=place, keepers=[ade], since=FIRST)
    set_keepers(place=place, keepers=[petra], since=LATER)
    before = kept(place)
    with pytest.raises(KeepingRefused, match="changed on 2026-09-01; choose that day or a later one"):
        set_keepers(place=place, keepers=[ade], since=date(2026, 8, 1))
    assert kept(place) == before


def test_who_has_left_keeps_nothing_from_then_on() -> None:
    corin = make_person("Corin", left_on=date(2026, 8, 31))
    with pytest.raises(KeepingRefused, match="Corin has left the house by then"):
        set_keepers(place=make_place(), keepers=[corin], since=LATER)
    assert not Keeping.objects.exists()


def test_the_registrar_changes_keepers_on_the_page(frozen_clock: object) -> None:
    registrar = make_person("Maren", roles=[Role.REGISTRAR])
    ade = make_person("Ade", roles=[Role.AQUARIST])
    exhibit = make_place("E03", name="Rock Pools")
    make_place("E03a", name="Basin", parent=exhibit)
    client = Client()
    assert registrar.user is not None
    client.force_login(registrar.user)
    assert "nobody named" in client.get("/place/E03").text
    answer = client.post("/keepers/E03", {"keepers": [ade.pk], "since": "2026-10-06"}, follow=True)
    assert "From 2026-10-06 kept by Ade." in answer.text
    below = client.get("/keepers/E03a").text
    assert "E03 Rock Pools" in below
    refused = client.post("/keepers/E03", {"keepers": [], "since": "2026-10-05"})
    assert "choose that day or a later one" in refused.text
    assert keepers_of(exhibit, on=date(2026, 10, 6)) == [ade]


def test_an_aquarist_reads_who_keeps_it_and_changes_nothing() -> None:
    ade = make_person("Ade", roles=[Role.AQUARIST])
    place = make_place("E03")
    set_keepers(place=place, keepers=[ade], since=FIRST)
    client = Client()
    assert ade.user is not None
    client.force_login(ade.user)
    page = client.get("/place/E03").text
    assert "Kept by" in page
    assert "/keepers/E03" not in page
    assert client.post("/keepers/E03", {"since": "2026-10-06"}).status_code == 403
