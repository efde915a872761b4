"""Takes what a device sends: each entry in a transaction of its own, in order, once."""

import hashlib
import json
import logging
from collections.abc import Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from datetime import datetime, timedelta, tzinfo
from typing import Any
from uuid import UUID

from django.db import DatabaseError, DataError, IntegrityError, transaction

from inventory.book.models.flags import FlagKind
from inventory.db.insert import insert_few
from inventory.db.prepared import Prepared, read_ahead
from inventory.db.together import write_together
from inventory.db.trips import tell
from inventory.people.actions.devices import seen
from inventory.people.models import Device, DeviceScope, Person

from ..models import Entry, Outcome
from ..queries import around as surroundings
from ..queries.around import Surroundings
from ..rules import drafting
from ..rules.kinds import EVENT_OF, EntryKind
from ..rules.stated import ComesBack, Stated, Trouble, comes_back
from .alarms import raise_alarms
from .booking import Booked, book_dead_on_arrival, book_event, raise_flags, refused_before_written, will_ask
from .others import book_note, book_reading
from .slips import book_slip
from .undo import undo

log = logging.getLogger(__name__)

_BEFORE = Prepared(
    lambda one: Entry.objects.filter(identifier=one).values_list("content_hash", "outcome", "answer"),
    Entry._meta.get_field("identifier"),
)


@dataclass(frozen=True, slots=True)
class Received:
    """One entry as it came: ``body`` is what was sent, without the proof of who held the device.

    ``stated`` is None when it could not be read; ``troubles`` then say why.
    """

    identifier: UUID
    kind: str
    body: dict[str, Any]
    stated: Stated | None = None
    troubles: tuple[Trouble, ...] = field(default=())

    @property
    def content_hash(self) -> str:
        """SHA-256 of what was sent: the same identifier must come with the same."""
        return hashlib.sha256(json.dumps(self.body, sort_keys=True).encode()).hexdigest()


def take_entries(
    received: Sequence[Received], *, device: Device, sent_at: datetime, now: datetime, zone: tzinfo
) -> list[dict[str, Any]]:
    """Answers each entry, in order. What was taken stays taken whatever becomes of the next.

    A database that does not answer is raised: the device keeps the rest and sends it again. Anything
    else that goes wrong with one entry comes back to its author, so that it holds up no other.
    """
    stated = [one.stated for one in received if one.stated is not None]
    around = surroundings.read(stated, device=device, sent_at=sent_at, now=now, zone=zone)
    return [_take(one, around) for one in received]


def _take(one: Received, around: Surroundings) -> dict[str, Any]:
    try:
        # Without savepoints where nothing is half done; if it is after all, once more with them.
        return write_together(
            lambda: _take_once(one, around, savepoint=not refused_before_written(one.stated)),
            careful=lambda: _take_once(one, around, savepoint=True),
        )
    except Exception as error:
        if isinstance(error, DatabaseError) and not isinstance(error, DataError | IntegrityError):
            raise
        trouble = type(error).__name__
    log.error("Entry %s of %s could not be taken: %s", one.identifier, around.device, trouble)
    words = "the server could not take this entry; show it to the registrar, and enter it again"
    with transaction.atomic():
        return _keep(one, around, None, [Trouble("", words)])


def _take_once(one: Received, around: Surroundings, *, savepoint: bool) -> dict[str, Any]:
    """Under the writers' lock, which two tabs that send the same wait for before they look for it."""
    with read_ahead(_BEFORE.of(one.identifier), *will_ask(one.stated, around)):
        return _take_now(one, around, savepoint=savepoint)


def _take_now(one: Received, around: Surroundings, *, savepoint: bool) -> dict[str, Any]:
    # With the entry, for a write of its own would stand in the way of the others.
    seen(around.device, now=around.now)
    before = _BEFORE(one.identifier)
    first = {content: (outcome, answer) for content, outcome, answer in before}
    if one.content_hash in first:
        return {**first[one.content_hash][1], "already": True}
    if any(outcome == Outcome.SENT for outcome, _ in first.values()):
        words = "this identifier is in use for another entry: send it under a new one"
        return _keep(one, around, None, [Trouble("identifier", words)])
    try:
        # All of an entry or nothing: a lot made for one that comes back goes with it.
        with transaction.atomic() if savepoint else nullcontext():
            booked = _book(one, around, savepoint=savepoint)
            raise_flags(booked, around)
    except ComesBack as back:
        return _keep(one, around, None, back.troubles)
    return _keep(one, around, booked, [])


def _book(one: Received, around: Surroundings, *, savepoint: bool) -> Booked:
    """Raises :class:`ComesBack`."""
    entry = one.stated
    if entry is None:
        raise ComesBack(*one.troubles)
    is_sensor = around.device.scope == DeviceScope.READINGS
    if is_sensor and entry.kind is not EntryKind.READING:
        raise comes_back("kind", f"{around.device.name} may send readings only")
    drafting.check(entry)
    saved = around.clock.saved(entry.saved_at)
    flags: list[tuple[FlagKind, str]] = []
    if not around.clock.agrees:
        flags.append((FlagKind.CLOCK, around.clock.words))
    if is_sensor and entry.person is None:
        booked = book_reading(entry, around, None, saved)
    else:
        person = _author(entry, around, saved, flags)
        booked = _book_by(entry, around, person, saved, savepoint=savepoint)
    booked.flags[:0] = flags
    if entry.kind is EntryKind.DIED:
        booked.alarm = raise_alarms(booked, around)
    return booked


def _book_by(
    entry: Stated, around: Surroundings, person: Person, saved: datetime, *, savepoint: bool
) -> Booked:
    if entry.dead_on_arrival and not entry.numbers.total:
        return book_dead_on_arrival(entry, around, person, saved)
    if entry.kind in EVENT_OF:
        return book_event(entry, around, person, saved, savepoint=savepoint)
    if entry.kind is EntryKind.UNDO:
        return undo(entry, around, person, saved)
    if entry.kind is EntryKind.READING:
        return book_reading(entry, around, person, saved)
    if entry.kind is EntryKind.SLIP:
        return book_slip(entry, around, person, saved)
    return book_note(entry, around, person)


def _author(
    entry: Stated, around: Surroundings, saved: datetime, flags: list[tuple[FlagKind, str]]
) -> Person:
    """Who wrote it. Nobody is refused, for it was really done; what is not certain is flagged."""
    author = around.authors.get(entry.person or 0)
    if author is None:
        raise comes_back("person", "say who enters it: nobody here has this number")
    # A clock that is out could stretch a pass; then it must hold now.
    at = saved if around.clock.agrees else around.now
    doubt = author.doubt(entry, around.device, at=at, today=around.today)
    if doubt:
        flags.append((FlagKind.AUTHOR, doubt))
    return author.person


def _keep(
    one: Received, around: Surroundings, booked: Booked | None, troubles: Sequence[Trouble]
) -> dict[str, Any]:
    """Writes the entry with its answer."""
    answer = _answer(one, around, booked, troubles)
    stated, body = one.stated, one.body
    place = booked.place if booked else around.places.get(stated.place if stated else "")
    lot = booked.lot if booked else around.lots.get(stated.lot if stated else "")
    author = around.authors.get(stated.person or 0) if stated else None
    row = {
        "identifier": one.identifier,
        "content_hash": one.content_hash,
        "kind": one.kind,
        "device_id": around.device.pk,
        "person_id": author.person.pk if author else None,
        "place_id": place.pk if place else None,
        "lot_id": lot.pk if lot else None,
        "open_name": stated.open_name if stated else "",
        "total": stated.numbers.total if stated else 0,
        "saved_at": stated.saved_at if stated else None,
        "received_at": around.now,
        "body": body,
        "outcome": (Outcome.SENT if booked else Outcome.CAME_BACK).value,
        "answer": answer,
        "event_id": booked.event_id if booked else None,
        "replaces": stated.replaces if stated else None,
        "undoes_id": booked.undoes.pk if booked and booked.undoes else None,
    }
    tell([*(booked.beside if booked else ()), insert_few(Entry, [row])])
    return answer


def _answer(
    one: Received, around: Surroundings, booked: Booked | None, troubles: Sequence[Trouble]
) -> dict[str, Any]:
    until = around.now + timedelta(minutes=around.numbers["undo_minutes"])
    return {
        "identifier": str(one.identifier),
        "outcome": (Outcome.SENT if booked else Outcome.CAME_BACK).value,
        "already": False,
        "event": booked.event_id if booked else None,
        "words": booked.words if booked else "",
        "flags": _flags(booked),
        "problems": [{"field": trouble.field, "words": trouble.words} for trouble in troubles],
        "undo_until": until.isoformat() if booked and booked.undoable else None,
        "alarm": (booked.alarm or None) if booked else None,
    }


def _flags(booked: Booked | None) -> list[dict[str, str]]:
    """What somebody will look into: what is flagged, and what another list of the house has taken up."""
    if booked is None:
        return []
    flagged = [(kind.value, words) for kind, words in booked.flags]
    return [{"kind": kind, "words": words} for kind, words in (*flagged, *booked.told)]
