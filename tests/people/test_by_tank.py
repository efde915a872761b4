"""Where the house wants it, keepers and counters see the numbers of their own tanks only."""

import pytest
from django.test import Client
from pytest_django import Settings

from inventory.book import blind
from inventory.book.actions.keeping import set_keepers
from inventory.book.models import Place
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..factories import NOW, make_event, make_house, make_lot, make_person, make_place

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


def _house() -> tuple[Person, Place, Place]:
    """A keeper of one of two tanks with animals."""
    registrar = make_person("Maren", roles=[Role.REGISTRAR])
    make_house(registrar=registrar)
    keeper = make_person("Jory", roles=[Role.AQUARIST, Role.COUNTER])
    own, other = make_place("T01"), make_place("T02")
    set_keepers(place=own, keepers=[keeper], since=NOW.date())
    # Too long to be part of a token of the page by chance.
    for place, males in ((own, 4_111_411), (other, 5_353_535)):
        make_event(
            "opening", lot=make_lot(), place=place, males=males, happened="2026-01-01", entered_by=registrar
        )
    return keeper, own, other


def _page(person: Person, place: Place) -> str:
    client = Client()
    assert person.user is not None
    client.force_login(person.user)
    return client.get(f"/place/{place.code}").text


def test_a_keeper_sees_every_tank_unless_the_house_limits_it() -> None:
    keeper, own, other = _house()
    assert blind.hidden_from(keeper) == set()
    assert "5,353,535" in _page(keeper, other)
    assert "4,111,411" in _page(keeper, own)


def test_with_access_by_tank_a_keeper_sees_the_numbers_of_the_own_tanks(settings: Settings) -> None:
    keeper, own, other = _house()
    settings.BY_TANK = True
    hidden = blind.hidden_from(keeper)
    assert (other.pk in hidden, own.pk in hidden) == (True, False)
    assert "5,353,535" not in _page(keeper, other)
    assert "4,111,411" in _page(keeper, own)


def test_who_has_another_role_too_sees_them_all(settings: Settings) -> None:
    _, _, other = _house()
    settings.BY_TANK = True
    vet = make_person("Ylva", roles=[Role.AQUARIST, Role.VETERINARIAN])
    assert blind.hidden_from(vet) == set()
    assert "5,353,535" in _page(vet, other)
