"""Devices that send entries to a server that may die, and remember what they were told.

As the tank side's outbox does: one entry after another, each kept and sent again until there is an
answer, in the order of writing.
"""

import http.client
import json
import random
import socket
import threading
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid4

HOST = "127.0.0.1"
LOTS = 12
PLACES = 4
HELD = 100_000
_CODE = "4071"
_PATIENCE = 30.0


@dataclass
class Device:
    """``acknowledged``: identifier to the event that the server told; ``sent``: to kind, lot and number."""

    token: str
    person: int
    signed: str
    draw: random.Random
    waiting: dict[str, Any] | None = None
    tried: int = 0
    acknowledged: dict[str, int] = field(default_factory=dict)
    sent: dict[str, tuple[str, int, int]] = field(default_factory=dict)
    again: int = 0
    refused: dict[int, int] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)

    def entry(self) -> dict[str, Any]:
        """A death, a birth or a move; three in five are deaths."""
        lot, n = self.draw.randrange(LOTS), self.draw.randrange(1, 4)
        kind = self.draw.choice(("died", "died", "died", "moved", "born"))
        made = {
            "identifier": str(UUID(int=self.draw.getrandbits(128), version=4)),
            "kind": kind,
            "person": self.person,
            "pass": self.signed,
            "saved_at": datetime.now(UTC).isoformat(),
            "place": f"T{lot % PLACES}",
            "lot": f"L{lot}",
            "numbers": {"unknown": n},
        }
        if kind == "moved":
            made["to_place"] = f"T{(lot + 1) % PLACES}"
        self.sent[str(made["identifier"])] = (kind, lot, n)
        return made

    def send(self, port: int, until: threading.Event, *, most: int = 1_000_000) -> None:
        """Sends until told to stop, or ``most`` entries are acknowledged. No answer: the entry waits."""
        connection = http.client.HTTPConnection(HOST, port, timeout=_PATIENCE)
        done = 0
        while not until.is_set() and done < most:
            entry = self.waiting = self.waiting or self.entry()
            try:
                answer = post(connection, self.token, entry)
            except ConnectionRefusedError:
                connection.close()
                until.wait(0.01)
                continue
            except (OSError, http.client.HTTPException, ValueError):
                connection.close()
                self._sent_in_vain()
                until.wait(0.01)
                continue
            if isinstance(answer, int):
                self._sent_in_vain()
                self.refused[answer] = self.refused.get(answer, 0) + 1
                until.wait(0.1)
                continue
            self.again += self.tried > 0
            self._settle(str(entry["identifier"]), answer)
            done += 1
            # Now and then as if the answer had been lost on its way.
            if self.draw.random() < 0.15:
                self._repeat(connection, entry, answer)
        connection.close()

    def _sent_in_vain(self) -> None:
        self.again += self.tried > 0
        self.tried += 1

    def _settle(self, identifier: str, answer: dict[str, Any]) -> None:
        if answer["outcome"] != "sent":
            self.wrong.append(f"came back: {answer}")
        self.acknowledged[identifier] = answer["event"]
        self.waiting, self.tried = None, 0

    def _repeat(self, connection: http.client.HTTPConnection, entry: dict[str, Any], first: Any) -> None:
        try:
            answer = post(connection, self.token, entry)
        except (OSError, http.client.HTTPException, ValueError):
            connection.close()
            return
        self.again += 1
        if not isinstance(answer, int) and answer != {**first, "already": True}:
            self.wrong.append(f"another answer to the same entry: {answer}, first {first}")


def post(
    connection: http.client.HTTPConnection, token: str, entry: dict[str, Any], *, refusals: bool = False
) -> Any:
    """The answer to one entry, or the status of an answer that was none; with ``refusals`` and its words."""
    body = json.dumps({"sent_at": datetime.now(UTC).isoformat(), "entries": [entry]})
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    connection.request("POST", "/api/v1/entries", body, headers)
    response = connection.getresponse()
    text = response.read()
    if response.status != 200:
        return {"status": response.status, **json.loads(text)} if refusals else response.status
    answer: dict[str, Any] = json.loads(text)["answers"][0]
    return answer


def small_house(devices: int, *, seed: int) -> list[Device]:
    """A house of few tanks and lots, and so many enrolled devices, each with its person."""
    from django.contrib.auth import get_user_model
    from django.contrib.auth.models import Group
    from django.utils import timezone

    from inventory.book.actions.post import post_events
    from inventory.book.actions.register import register_lots, register_places
    from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers
    from inventory.book.rules.happened import parse_happened
    from inventory.book.rules.kinds import EventKind
    from inventory.book.rules.sheets import LotRow, PlaceRow
    from inventory.names.models import Taxon
    from inventory.people.actions.codes import check_code, set_code
    from inventory.people.actions.devices import enrol, make_device, offer_code
    from inventory.people.models import DeviceScope, House, Person

    now, zone = datetime.now(UTC), timezone.get_current_timezone()
    registrar = Person.objects.create(name="Crash Registrar")
    House.objects.create(name="Crash Aquarium", registrar=registrar)
    register_places(
        [PlaceRow(code=f"T{n}", name=f"Tank {n}", kind="tank", parent=None) for n in range(PLACES)]
    )
    names = [f"Exemplum numero{n}" for n in range(LOTS)]
    taxa = {name: Taxon.objects.create(scientific_name=name, count_class="C") for name in names}
    register_lots([LotRow(accession=f"L{n}", name=name, kind="group") for n, name in enumerate(names)], taxa)
    opening = [
        EventDraft(
            identifier=uuid4(),
            kind=EventKind.OPENING,
            happened=parse_happened("2026-01-01"),
            entered_by=registrar.name,
            lines=[DraftLine(lot=f"L{n}", place=f"T{n % PLACES}", numbers=Numbers(unknown=HELD))],
        )
        for n in range(LOTS)
    ]
    post_events(opening, now=now, zone=zone)
    made = []
    for n in range(devices):
        user = get_user_model().objects.create_user(f"keeper{n}")
        user.groups.add(Group.objects.get(name="aquarist"))
        person = Person.objects.create(name=f"Keeper {n}", user=user)
        set_code(person, _CODE, by=person, now=now)
        device = make_device(name=f"Device {n}", scope=DeviceScope.TANKSIDE, by=registrar, now=now)
        enrolled = enrol(code=offer_code(device, by=registrar, now=now), now=now)
        signed = check_code(person=person, code=_CODE, device=device, now=now).signed
        made.append(Device(enrolled.token, person.pk, signed, random.Random(f"{seed} {n}")))
    return made


def held_against_the_book(devices: Sequence[Device]) -> list[str]:
    """What is wrong: every acknowledged entry is one event, of that number; no other event is there."""
    from django.db.models import Sum
    from django.utils import timezone

    from inventory.book.models import Cell, Event
    from inventory.book.queries.verification import verify
    from inventory.tankside.models import Entry, Outcome

    wrong = [one for device in devices for one in device.wrong]
    booked = list(Event.objects.exclude(kind="opening").values_list("identifier", "id"))
    found = {str(identifier): number for identifier, number in booked}
    if len(found) != len(booked):
        wrong.append(f"{len(booked) - len(found)} entries are in the book twice")
    acknowledged = {one: number for device in devices for one, number in device.acknowledged.items()}
    for identifier, number in acknowledged.items():
        if found.get(identifier) != number:
            wrong.append(f"{identifier} was told event {number}, in the book it is {found.get(identifier)}")
    allowed = set(acknowledged) | {d.waiting["identifier"] for d in devices if d.waiting}
    wrong += [f"{one} is in the book and nobody sent it" for one in found if one not in allowed]
    entries = Entry.objects.filter(outcome=Outcome.SENT).count()
    if entries != len(found):
        wrong.append(f"{entries} entries and {len(found)} events")
    sent = {one: said for device in devices for one, said in device.sent.items()}
    expected = dict.fromkeys(range(LOTS), HELD)
    for identifier in found:
        kind, lot, n = sent[identifier]
        expected[lot] += {"died": -n, "born": n, "moved": 0}[kind]
    held = dict(Cell.objects.filter(inside=True).values_list("lot__accession").annotate(held=Sum("balance")))
    wrong += [f"L{lot}: {held[f'L{lot}']} in the book, {n} sent" for lot, n in expected.items()
              if held[f"L{lot}"] != n]  # fmt: skip
    return [*wrong, *(str(finding) for finding in verify(timezone.get_current_timezone()).findings)]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        return int(probe.getsockname()[1])
