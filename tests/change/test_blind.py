"""Who is counting gets no report: its sums would give the book's numbers away (GAO-02-447G)."""

import pytest
from django.test import Client

from inventory.book import blind
from inventory.book.models import Cell, Place
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from tests.factories import make_house, make_person

from .sample import make_sample

pytestmark = pytest.mark.django_db

ADDRESSES = ("/change", "/change/events", "/change.csv", "/change.xlsx")
FIGURE = {
    "first_day": "2026-07-01",
    "last_day": "2026-09-30",
    "figure": "closing",
    "unit": "animal",
    "by": "place",
}


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> Place:
    """A place of the sample that the aquarist is counting."""
    make_house()
    make_sample()
    place = Cell.objects.filter(inside=True, balance__gt=0).order_by("id")[0].account.place
    assert place is not None

    def hides(person: Person) -> set[int]:
        return {place.pk} if person.name == "The aquarist" else set()

    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(hides)
    return place


def _signed_in(client: Client, name: str, role: Role) -> Client:
    person = make_person(name, roles=[role])
    assert person.user is not None
    client.force_login(person.user)
    return client


@pytest.mark.parametrize("address", ADDRESSES)
def test_who_counts_a_tank_gets_no_report_and_is_told_why(
    client: Client, counted: Place, address: str
) -> None:
    answer = _signed_in(client, "The aquarist", Role.AQUARIST).get(address, FIGURE)
    assert answer.status_code == 403
    page = answer.content.decode()
    assert f"You are counting {counted}" in page
    assert "until the sheet is handed in" in page
    assert "<table" not in page


@pytest.mark.parametrize("address", ADDRESSES)
def test_everybody_else_goes_on_reading_it(client: Client, counted: Place, address: str) -> None:
    assert _signed_in(client, "The other aquarist", Role.AQUARIST).get(address, FIGURE).status_code == 200
