"""A small invented house with one permit; everything is made by the room's own writers."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.utils import timezone

from inventory.book.models import Place
from inventory.book.rules.happened import parse_happened
from inventory.names.models import Taxon
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.permits.actions.entries import Recorded, TakeEntry, TripEntry
from inventory.permits.actions.permits import LineFacts, LinkFacts, VersionFacts, enter_permit
from inventory.permits.actions.trips import record_trip
from inventory.permits.models import Permit

from .. import factories

NUMBER = "TEST 1"
SKIPPER = "The skipper"
GOBY, ANEMONES, CRUSTACEANS, LOBSTER, JEWEL, COMB = 1, 2, 3, 4, 5, 6
# A square about 60.5 N, 4.5 W.
AREA = ((-5.0, 60.0), (-4.0, 60.0), (-4.0, 61.0), (-5.0, 61.0))
LINES = (
    LineFacts(
        "Two-spotted goby (Gobiusculus flavescens)",
        10,
        link=LinkFacts("taxon", ["Pomatoschistus flavescens"]),
    ),
    LineFacts("Anemones, any, together", 6, link=LinkFacts("group", ["order Actiniaria"])),
    LineFacts("Crustaceans not listed, together", 8, link=LinkFacts("not_listed", ["class Malacostraca"])),
    LineFacts(
        "Lobster, not berried", 2, condition="not berried", link=LinkFacts("taxon", ["Homarus gammarus"])
    ),
    LineFacts("Jewel anemone, rock pieces", 3, unit="piece", link=LinkFacts("taxon", ["Corynactis viridis"])),
    LineFacts("Comb jellies, a trip", 5, per="trip", link=LinkFacts("higher", ["phylum Ctenophora"])),
)
# Name, common name, phylum, class, order.
_TAXA = (
    ("Pomatoschistus flavescens", "two-spotted goby", "Chordata", "", ""),
    ("Urticina felina", "dahlia anemone", "Cnidaria", "", "Actiniaria"),
    ("Carcinus maenas", "shore crab", "Arthropoda", "Malacostraca", ""),
    ("Homarus gammarus", "European lobster", "Arthropoda", "Malacostraca", ""),
    ("Corynactis viridis", "", "Cnidaria", "", "Corallimorpharia"),
    ("Pleurobrachia pileus", "", "Ctenophora", "", ""),
    ("Asterias rubens", "", "Echinodermata", "", ""),
)


@dataclass
class PermitHouse:
    """Who is who, the permit, the taxa and the places."""

    permit: Permit
    people: dict[Role, Person]
    skipper: Person
    taxa: dict[str, Taxon]
    kelp_hall: Place
    quarantine: Place
    now: datetime
    zone: tzinfo

    @property
    def officer(self) -> Person:
        """Who keeps the permits."""
        return self.people[Role.PERMIT_OFFICER]

    @property
    def aquarist(self) -> Person:
        """Who enters slips."""
        return self.people[Role.AQUARIST]

    def record(self, *takes: TakeEntry, at: datetime | None = None, **trip: Any) -> Recorded:
        """Records a slip; what the test does not care about is in order with the permit."""
        return record_trip(
            trip=a_trip(**trip),
            takes=takes,
            by=self.aquarist,
            now=at or self.now,
            zone=self.zone,
        )


def make_permit_house(lines: Sequence[LineFacts] = LINES, **facts: Any) -> PermitHouse:
    """The house; ``facts`` are of the permit's version."""
    people = {role: factories.make_person(f"The {role.words}", roles=[role]) for role in Role}
    skipper = factories.make_person(SKIPPER)
    factories.make_house(registrar=people[Role.REGISTRAR])
    taxa = {
        name: factories.make_taxon(
            name, common_name=common, phylum=phylum, class_name=of_class, order=order, rank="species"
        )
        for name, common, phylum, of_class, order in _TAXA
    }
    stated: dict[str, Any] = {
        "valid_from": date(2026, 1, 1),
        "valid_until": date(2026, 9, 30),
        "people": [people[Role.AQUARIST].name, SKIPPER],
        "area": AREA,
        "area_words": "inside three miles",
        "gear": ["hand net", "creel"],
        "lines": lines,
    } | facts
    permit = enter_permit(
        number=NUMBER,
        authority="BOARD",
        authority_name="The Board",
        return_days=30,
        holder="Test Aquarium",
        facts=VersionFacts(**stated),
        by=people[Role.PERMIT_OFFICER],
        now=factories.NOW,
    )
    return PermitHouse(
        permit=permit,
        people=people,
        skipper=skipper,
        taxa=taxa,
        kelp_hall=factories.make_place("E02", kind="exhibit", name="Kelp Hall"),
        quarantine=factories.make_place("Q2", kind="quarantine", name="Quarantine"),
        now=factories.NOW,
        zone=timezone.get_current_timezone(),
    )


def a_trip(**stated: Any) -> TripEntry:
    """A trip that the permit allows."""
    facts: dict[str, Any] = {
        "identifier": uuid4(),
        "permit": NUMBER,
        "happened": "2026-09-01",
        "people": [SKIPPER],
        "locality": "off the point",
        "latitude": Decimal("60.5"),
        "longitude": Decimal("-4.5"),
        "gear": "hand net",
    } | stated
    return TripEntry(**facts | {"happened": parse_happened(facts["happened"])})


def a_take(name: str, kept: int = 0, *, let_go: int = 0, died: int = 0, **stated: Any) -> TakeEntry:
    """A row of a slip whose numbers add up; what is kept goes to quarantine."""
    facts: dict[str, Any] = {
        "identifier": uuid4(),
        "caught": kept + let_go + died,
        "place": "Q2" if kept else "",
    } | stated
    return TakeEntry(name=name, kept=kept, let_go=let_go, died=died, **facts)
