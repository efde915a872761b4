"""The list of differences says for whom a line waits, and which counts are to be read with care."""

from datetime import date

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.approving import ask_approval
from census.rounds.actions.decide import decide_line
from census.rounds.actions.recounts import ask_recount
from census.rounds.models import Census
from census.rounds.queries.reading import read_census
from census.rounds.queries.standing import standings
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How

from .house import NOW, ZONE, TestHouse

pytestmark = pytest.mark.django_db


@pytest.fixture
def census(house: TestHouse) -> Census:
    """Gobies wait for an answer, the bib for the curator, the wrasses for Bror; the shoal has no passes."""
    made = house.compared({"goby": 6, "bib": 10, "wrasse": 12, "cod": 9})
    house.count(made, {"bib": 10}, round=2)
    query = Settling(how=How.OPEN_QUERY, owner=house.registrar.name, due=date(2026, 10, 20))
    decide_line(line=house.line(made, "goby"), settling=query, by=house.registrar, now=NOW, zone=ZONE)
    lost = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-12, note="pump stood")
    ask_approval(line=house.line(made, "bib"), settling=lost, by=house.registrar, now=NOW, zone=ZONE)
    ask_recount(lines=[house.line(made, "wrasse")], of=house.second, by=house.registrar, now=NOW)
    return made


def told(house: TestHouse, census: Census) -> dict[str, tuple[str, ...]]:
    found = standings(read_census(census), DEFAULTS)
    names = {house.line(census, name).pk: name for name in ("goby", "bib", "wrasse", "shoal", "cod")}
    return {names[pk]: one.waits for pk, one in found.items() if pk in names and one.waits}


def test_each_line_says_for_whom_it_waits(house: TestHouse, census: Census) -> None:
    assert told(house, census) == {
        "goby": ("open query: Runa, until 2026-10-20",),
        "bib": ("approval asked",),
        "wrasse": ("recount out: Bror",),
    }


def test_counts_of_low_quality_are_told(house: TestHouse, census: Census) -> None:
    found = standings(read_census(census), DEFAULTS)
    assert "not said of how many passes" in found[house.line(census, "shoal").pk].care[0]


def test_the_list_tags_them_and_shows_those_alone(house: TestHouse, census: Census, client: Client) -> None:
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    address = reverse("differences", args=[census.code])
    waiting = client.get(address, {"show": "waiting"}).content.decode()
    for words in ("waiting for somebody (3)", "open query: Runa, until 2026-10-20", "approval asked"):
        assert words in waiting, words
    assert "3 lines</caption>" in waiting
    assert "Trisopterus minutus" not in waiting
    care = client.get(address, {"show": "care"}).content.decode()
    assert "Clupea harengus" in care
    assert "read with care" in care
    assert "Gobius niger" not in care


def test_standings_cost_one_query_however_many_lines(
    house: TestHouse, census: Census, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    house.add_many_lines(census)
    rows = read_census(census)
    with django_assert_num_queries(1):
        standings(rows, DEFAULTS)
