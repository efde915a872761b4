"""A small house with one person for each role, and a few lots with a past."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from django.test import Client

from inventory.book.models import Event, Lot, Place
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .. import factories


@dataclass
class SmallHouse:
    """Who is who, and what lives where."""

    registrar: Person
    people: dict[Role, Person]
    kelp_hall: Place
    quarantine: Place
    wrasses: Lot
    conger: Lot
    death: Event


@pytest.fixture
def small_house(db: None) -> SmallHouse:
    """Six wrasses (1.5.0) of which a female died, and a conger, all in Kelp Hall."""
    people = {role: factories.make_person(f"The {role.words}", roles=[role]) for role in Role}
    registrar = people[Role.REGISTRAR]
    factories.make_house(registrar=registrar, name="Skerry Aquarium")
    kelp_hall = factories.make_place("E02", kind="exhibit", name="Kelp Hall")
    quarantine = factories.make_place("Q1", kind="quarantine", name="Quarantine fish")
    wrasse = factories.make_taxon("Labrus mixtus", common_name="cuckoo wrasse")
    wrasses = factories.make_lot("A1", taxon=wrasse)
    conger = factories.make_lot(
        "A2",
        taxon=factories.make_taxon("Conger conger", common_name="European conger"),
        kind="individual",
        house_name="Thole",
    )
    enters: dict[str, Any] = {"place": kelp_hall, "entered_by": registrar}
    factories.make_event("opening", lot=wrasses, males=1, females=5, happened="2026-01-01", **enters)
    factories.make_event("opening", lot=conger, females=1, happened="2026-01-01", **enters)
    death = factories.make_event(
        "died", lot=wrasses, females=1, happened="2026-09-12T07:52", cause="not known", **enters
    )
    return SmallHouse(registrar, people, kelp_hall, quarantine, wrasses, conger, death)


@pytest.fixture
def as_role(small_house: SmallHouse) -> Callable[[Role], Client]:
    """A client signed in as the person of a role."""

    def sign_in(role: Role) -> Client:
        client = Client()
        user = small_house.people[role].user
        assert user is not None
        client.force_login(user)
        return client

    return sign_in
