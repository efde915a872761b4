"""Who is counting a tank sees its numbers on no page (blind count: GAO-02-447G)."""

from collections.abc import Callable

import pytest
from django.test import Client

from inventory.book import blind
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .. import factories
from .conftest import SmallHouse

AsRole = Callable[[Role], Client]
PAGES = ("/", "/places", "/place/E02", "/lots", "/lot/A1", "/lot/A7", "/record/died/A1", "/below-zero")


@pytest.fixture
def _aquarist_counts_kelp_hall(small_house: SmallHouse, monkeypatch: pytest.MonkeyPatch) -> None:
    def hides(person: Person) -> set[int]:
        return {small_house.kelp_hall.pk} if person.name == "The aquarist" else set()

    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(hides)
    # Numbers that stand nowhere else on the pages: too long to be a key or part of a hash by chance.
    factories.make_event("received", lot="A1", place="E02", males=7_123_123, females=6_411_411)
    jellies = factories.make_lot("A7")
    factories.make_event("received", lot=jellies, place="E02", unknown=1)
    for number in (2_000_000, 3_555_556):
        factories.make_event("died", lot=jellies, place="E02", unknown=number, happened="2026-09-02")


# Held now, by sex and in all: 1 + 7,123,123 males, 4 + 6,411,411 females; 1 - 5,555,556 jellies; a conger.
_HELD = (7_123_124, 6_411_415, 13_534_539, 5_555_555, 7_978_985)
NUMBERS = tuple(written for number in _HELD for written in (f"{number:,}", str(number)))


@pytest.mark.usefixtures("_aquarist_counts_kelp_hall")
@pytest.mark.parametrize("url", PAGES)
def test_the_counter_finds_no_book_number_on(as_role: AsRole, url: str) -> None:
    page = as_role(Role.AQUARIST).get(url)
    assert page.status_code == 200
    assert [number for number in NUMBERS if number in page.text] == []


@pytest.mark.usefixtures("_aquarist_counts_kelp_hall")
def test_everybody_else_goes_on_seeing_them(as_role: AsRole) -> None:
    client = as_role(Role.REGISTRAR)
    for url in PAGES:
        assert any(number in client.get(url).text for number in NUMBERS), url


@pytest.mark.usefixtures("_aquarist_counts_kelp_hall")
def test_a_death_is_recorded_all_the_same(as_role: AsRole) -> None:
    client = as_role(Role.AQUARIST)
    form = client.get("/record/died/A1").context["form"]
    sent = {
        "identifier": form["identifier"].value(),
        "place": "E02",
        "day": "2026-09-20",
        "unknown": 1,
        "cause": "not known",
    }
    assert "Recorded as event" in client.post("/record/died/A1", sent, follow=True).text


def test_the_same_function_is_asked_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(_nothing)
    blind.ask(_nothing)
    assert [_nothing] == blind._ASKED


def _nothing(person: Person) -> set[int]:
    return set()
