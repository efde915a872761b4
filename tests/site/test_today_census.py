"""The census on the first page, and the numbers it hides from whoever counts."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from census.rounds.actions.opening import open_census
from census.rounds.actions.sheets import hand_in, issue
from census.rounds.models import Census, Sheet
from inventory.people.rules.roles import Role

from .. import factories
from .conftest import SmallHouse

AsRole = Callable[[Role], Client]


@pytest.fixture
def census(small_house: SmallHouse, frozen_clock: object) -> Census:
    """One sheet out, with the aquarist."""
    opened = open_census(
        period=factories.make_period(),
        places=[small_house.kelp_hall],
        by=small_house.registrar,
        now=factories.NOW,
        zone=factories.NOW.tzinfo,  # type: ignore[arg-type]
    )
    for sheet in opened.sheets.all():
        issue(
            sheet=sheet,
            by=small_house.registrar,
            now=factories.NOW,
            counters=[small_house.people[Role.AQUARIST]],
        )
    return opened


def test_who_counts_finds_the_own_sheets_first(census: Census, as_role: AsRole) -> None:
    sheet = Sheet.objects.get()
    mine = as_role(Role.AQUARIST).get("/").text
    assert mine.index("Your sheets to count") < mine.index(f'href="/sheet/{sheet.number}"')
    assert "Your sheets to count" not in as_role(Role.CURATOR).get("/").text


def test_the_registrar_sees_which_sheets_are_out_and_with_whom(census: Census, as_role: AsRole) -> None:
    page = as_role(Role.REGISTRAR).get("/").text
    assert f"{census.code} is issued: sheets that are not in" in page
    assert "(The aquarist)" in page


def test_the_numbers_come_back_when_the_sheet_is_handed_in(
    census: Census, small_house: SmallHouse, as_role: AsRole
) -> None:
    client = as_role(Role.AQUARIST)
    assert "1.4.0" not in client.get("/place/E02").text
    assert "1.4.0" in as_role(Role.REGISTRAR).get("/place/E02").text
    hand_in(sheet=Sheet.objects.get(), by=small_house.people[Role.AQUARIST], now=factories.NOW)
    assert "1.4.0" in client.get("/place/E02").text


def test_a_death_found_while_counting_is_recorded(census: Census, as_role: AsRole) -> None:
    sent = {"identifier": str(uuid4()), "place": "E02", "day": "2026-10-06", "time": "08:00", "females": 1}
    page = as_role(Role.AQUARIST).post("/record/died/A1", sent, follow=True)
    assert "Recorded as event" in page.text


def test_the_first_page_asks_no_more_for_more_sheets(census: Census, as_role: AsRole) -> None:
    client = as_role(Role.REGISTRAR)
    client.get("/")
    with CaptureQueriesContext(connection) as few:
        client.get("/")
    # Each room asks for itself, what several need is asked once: 74 when this was written.
    assert len(few) <= 74
    for number in range(8):
        Sheet.objects.create(
            census=census, number=f"X-{number}", place=factories.make_place(), state="issued"
        )
    with CaptureQueriesContext(connection) as many:
        assert "X-7" in client.get("/").text
    assert len(many) == len(few)
