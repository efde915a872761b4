"""A small house with an enrolled tablet, and a way to send entries from it."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from inventory.book.models import Cell, Lot, Place
from inventory.people.actions.codes import check_code, set_code
from inventory.people.actions.devices import enrol, make_device, offer_code
from inventory.people.models import Device, DeviceScope, Person

from ..factories import NOW, make_event, make_house, make_lot, make_person, make_place, make_taxon

CODE = "4071"


@dataclass
class Tablet:
    """A device as it speaks: every entry gets an identifier, a moment and its person's pass."""

    device: Device
    token: str
    person: Person
    signed: str
    client: Client = field(default_factory=Client)

    def entry(self, kind: str = "died", **said: Any) -> dict[str, Any]:
        saved_at = said.pop("saved_at", NOW)
        n = said.pop("n", None)
        if n is not None:
            said["numbers"] = {"unknown": n}
        return {
            "identifier": str(uuid4()),
            "kind": kind,
            "person": self.person.pk,
            "pass": self.signed,
            "saved_at": saved_at.isoformat() if isinstance(saved_at, datetime) else saved_at,
            "place": "E02",
            **said,
        }

    def post(self, path: str, body: Any, *, token: str | None = None) -> Any:
        return self.client.post(
            f"/api/v1/{path}",
            body,
            content_type="application/json",
            headers={"Authorization": f"Bearer {self.token if token is None else token}"},
        )

    def send(self, *entries: dict[str, Any], sent_at: datetime = NOW) -> list[dict[str, Any]]:
        """The answers; the envelope must have been read."""
        answer = self.post("entries", {"sent_at": sent_at.isoformat(), "entries": list(entries)})
        assert answer.status_code == 200, answer.content
        answers: list[dict[str, Any]] = answer.json()["answers"]
        return answers

    def one(self, entry: dict[str, Any], *, sent_at: datetime = NOW) -> dict[str, Any]:
        """The answer to one entry."""
        (answer,) = self.send(entry, sent_at=sent_at)
        return answer


@dataclass
class TankHouse:
    """Kelp Hall with gobies, rays and a wolffish; a quarantine; registrar and aquarist."""

    registrar: Person
    aquarist: Person
    kelp_hall: Place
    quarantine: Place
    gobies: Lot
    ray: Lot
    other_ray: Lot
    wolffish: Lot

    def held(self, lot: Lot, place: Place | None = None) -> int:
        cells = Cell.objects.filter(lot=lot, inside=True)
        if place:
            cells = cells.filter(account__place=place)
        return sum(cells.values_list("balance", flat=True))


@pytest.fixture
def house(db: None, frozen_clock: datetime) -> TankHouse:
    registrar = make_person("Maren", roles=["registrar"])
    aquarist = make_person("Sunniva", roles=["aquarist"], initials="SA")
    make_house(registrar=registrar)
    kelp_hall, quarantine = make_place("E02", name="Kelp Hall"), make_place("Q1", name="Quarantine")
    goby = make_taxon("Pomatoschistus flavescens", common_name="two-spotted goby", count_class="C")
    rays = [
        make_taxon(f"Raja {name}", common_name=f"{common} ray", count_class=letter, look_alike_set="rays")
        for name, common, letter in (("clavata", "thornback", "B"), ("montagui", "spotted", "A"))
    ]
    wolffish = make_taxon("Anarhichas lupus", common_name="Atlantic wolffish", count_class="A")
    made = TankHouse(
        registrar,
        aquarist,
        kelp_hall,
        quarantine,
        make_lot("G1", taxon=goby),
        make_lot("R1", taxon=rays[0]),
        make_lot("R2", taxon=rays[1]),
        make_lot("W1", taxon=wolffish, kind="individual", house_name="Old Tom"),
    )
    for lot, n in ((made.gobies, 200), (made.ray, 4), (made.other_ray, 3), (made.wolffish, 1)):
        make_event("received", lot=lot, place=kelp_hall, unknown=n, happened="2026-09-01")
    return made


@pytest.fixture
def tablet(house: TankHouse) -> Tablet:
    device = make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=house.registrar, now=NOW)
    enrolled = enrol(code=offer_code(device, by=house.registrar, now=NOW), now=NOW)
    set_code(house.aquarist, CODE, by=house.aquarist, now=NOW - timedelta(days=3))
    confirmed = check_code(
        person=house.aquarist, code=CODE, device=enrolled.device, now=NOW - timedelta(hours=1)
    )
    return Tablet(enrolled.device, enrolled.token, house.aquarist, confirmed.signed)


@pytest.fixture(autouse=True)
def _no_post(settings: Any) -> None:
    """Alarms stay in their table; the tests of the post say when it is carried."""
    settings.ALARM_POST_IN_BACKGROUND = False
