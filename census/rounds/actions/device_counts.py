"""Takes counts from devices: each entry in a transaction of its own, in order, once.

An answer tells no number but those that were sent: who reads it may be about to count the same lines.
"""

import hashlib
import json
import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import DatabaseError, DataError, IntegrityError, transaction
from django.db.models import Q

from inventory.db.locks import queue_of_writers, serialize_writers
from inventory.people.models import Device, Person
from inventory.people.queries.devices import code_changes, read_pass
from inventory.people.rules.roles import Role
from inventory.tankside.rules.times import Clock

from ..models import Count, CountEntry, Line, Sheet
from ..queries.settings import settings_in_use
from ..rules.passes import how, middle
from ..rules.states import SHEETS_OPEN
from ..rules.tolerance import EXACT
from ..rules.words import LineKind, NoticeKind, Seen
from .counts import Entry, take_counts
from .refused import CensusRefused
from .sheets import hand_in
from .telling import tell

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class CountedLine:
    """One line as the device states it; ``line`` 0 for what was written in, with its ``name``."""

    counted_at: datetime
    line: int = 0
    name: str = ""
    unit: str = "animal"
    value: int | None = None
    at_least: bool = False
    passes: tuple[int, ...] = ()
    letter: str = ""
    sexes: tuple[int, int, int, int] | None = None
    seen: Mapping[str, Seen] = field(default_factory=dict)
    remark: str = ""

    @property
    def words(self) -> str:
        """How a problem names it."""
        return f"line {self.line}" if self.line else f"written in, {self.name}"


@dataclass(frozen=True, slots=True)
class Counted:
    """What one person counted on one sheet."""

    person: int
    signed: str
    saved_at: datetime
    sheet: str
    round: int
    hand_in: bool
    lines: tuple[CountedLine, ...]
    replaces: UUID | None = None


@dataclass(frozen=True, slots=True)
class ReceivedCount:
    """One entry as it came. ``counted`` is None when it could not be read; ``troubles`` then say why."""

    identifier: UUID
    body: dict[str, Any]
    counted: Counted | None = None
    troubles: tuple[tuple[str, str], ...] = ()

    @property
    def content_hash(self) -> str:
        """SHA-256 of what was sent."""
        return hashlib.sha256(json.dumps(self.body, sort_keys=True).encode()).hexdigest()


@dataclass(slots=True)
class _Taken:
    """What came of one entry."""

    sheet: Sheet
    person: Person
    words: str
    flags: list[tuple[str, str]] = field(default_factory=list)


class _Back(Exception):
    """The entry comes back: (field, words) of each problem."""

    def __init__(self, *troubles: tuple[str, str]) -> None:
        super().__init__("; ".join(words for _, words in troubles))
        self.troubles = troubles


def take_device_counts(
    received: Sequence[ReceivedCount], *, device: Device, sent_at: datetime, now: datetime
) -> list[dict[str, Any]]:
    """Answers each entry, in order. What was taken stays taken whatever becomes of the next."""
    clock = Clock(sent_at, now)
    return [_take(one, device, clock) for one in received]


def _take(one: ReceivedCount, device: Device, clock: Clock) -> dict[str, Any]:
    try:
        with queue_of_writers():
            return _take_once(one, device, clock)
    except Exception as error:
        if isinstance(error, DatabaseError) and not isinstance(error, DataError | IntegrityError):
            raise
        log.exception("Count %s of %s could not be taken: %s", one.identifier, device, type(error).__name__)
    words = "the server could not take this count; keep it on paper and show it to the registrar"
    with transaction.atomic():
        return _keep(one, device, clock, None, [("", words)])


@transaction.atomic
def _take_once(one: ReceivedCount, device: Device, clock: Clock) -> dict[str, Any]:
    # Before the look for what is there: two tabs that send the same wait for each other here.
    serialize_writers()
    before = CountEntry.objects.filter(identifier=one.identifier)
    first = {content: (back, answer) for content, back, answer in before.values_list(
        "content_hash", "came_back", "answer"
    )}  # fmt: skip
    if one.content_hash in first:
        return {**first[one.content_hash][1], "already": True}
    if any(not back for back, _ in first.values()):
        words = "this identifier is in use for another count: send it under a new one"
        return _keep(one, device, clock, None, [("identifier", words)])
    try:
        # All of an entry or nothing.
        with transaction.atomic():
            taken = _count(one, device, clock)
    except _Back as back:
        return _keep(one, device, clock, None, back.troubles)
    except CensusRefused as refused:
        return _keep(one, device, clock, None, [("", words) for words in refused.problems])
    return _keep(one, device, clock, taken, [])


def _count(one: ReceivedCount, device: Device, clock: Clock) -> _Taken:
    counted = one.counted
    if counted is None:
        raise _Back(*one.troubles)
    person = Person.objects.select_related("user").filter(pk=counted.person).first()
    if person is None:
        raise _Back(("person", "say who counted: nobody here has this number"))
    sheet = Sheet.objects.select_related("census", "place").filter(number=counted.sheet).first()
    if sheet is None:
        raise _Back(("sheet", f"there is no sheet {counted.sheet!r}"))
    _refuse_stranger(sheet, person)
    flags = _doubts(counted, person, sheet, device, clock)
    numbers = 0
    for round_, entries in _by_round(counted, sheet, person, clock).items():
        take_counts(sheet=sheet, entries=entries, by=person, now=clock.now, round=round_)
        numbers += len(entries)
    # Of two counters of a sheet the first one's hand may have given it in.
    is_open = Sheet.objects.values_list("state", flat=True).get(pk=sheet.pk) in SHEETS_OPEN
    if counted.hand_in and is_open:
        hand_in(sheet=sheet, by=person, now=clock.now)
    said = f"{numbers} {'line' if numbers == 1 else 'lines'} counted"
    return _Taken(sheet, person, f"{sheet.number}, {said}{', handed in' if counted.hand_in else ''}", flags)


def _refuse_stranger(sheet: Sheet, person: Person) -> None:
    """Only the counters of a sheet write on it from a device, and whoever was asked to count again."""
    if sheet.counters.filter(pk=person.pk).exists():
        return
    if not sheet.lines.filter(recounts__of=person).exists():
        raise _Back(("sheet", f"{sheet.number} is not issued to {person.name}; ask the registrar"))


def _doubts(
    counted: Counted, person: Person, sheet: Sheet, device: Device, clock: Clock
) -> list[tuple[str, str]]:
    """What is not certain is taken, and told."""
    flags = []
    if not clock.agrees:
        flags.append(("clock", clock.words))
    stated = read_pass(counted.signed) if counted.signed else None
    at = clock.saved(counted.saved_at) if clock.agrees else clock.now
    changed = code_changes([person.pk]).get(person.pk)
    if stated is None or not stated.holds(
        person=person.pk, device=device.pk, moment=at, code_changed_at=changed
    ):
        flags.append(("author", "not confirmed by a code; the registrar will ask"))
        words = f"{sheet.number}: counts in the name of {person.name}, on {device.name}, without a code"
        tell(Role.REGISTRAR, NoticeKind.AUTHOR, words, by=person, now=clock.now)
    return flags


def _by_round(counted: Counted, sheet: Sheet, person: Person, clock: Clock) -> dict[int, list[Entry]]:
    """The entries by the round that they are for.

    Two counters of class A write at the same moment, each on a device of their own and perhaps without
    signal: what comes second is the second count. Of other lines a count of somebody else is not
    written over.
    """
    wanted = settings_in_use().passes_min_class_c
    others = _first_counts_of_others(sheet, person) if counted.round == 1 else []
    taken = {line.written_name if line.kind == LineKind.WRITE_IN else line.number: line for line in others}
    troubles: list[tuple[str, str]] = []
    found: dict[int, list[Entry]] = {}
    for line in counted.lines:
        before = taken.get(line.line or line.name.strip())
        round_ = 2 if before is not None and before.count_class == EXACT else counted.round
        if before is not None and round_ == counted.round:
            words = "another counter has sent it; leave it blank, or ask the registrar for a recount"
            troubles.append((line.words, f"{line.words}: {words}"))
            continue
        entry = _entry(line, person, clock, wanted, troubles)
        found.setdefault(round_, []).append(replace(entry, line=before.number) if before else entry)
    if troubles:
        raise _Back(*troubles)
    return found


def _first_counts_of_others(sheet: Sheet, person: Person) -> list[Line]:
    theirs = Count.objects.filter(round=1, replaced_by=None).exclude(Q(counter=person) | Q(counter=None))
    return list(Line.objects.filter(sheet=sheet, counts__in=theirs))


def _entry(
    line: CountedLine, person: Person, clock: Clock, wanted: int, troubles: list[tuple[str, str]]
) -> Entry:
    value, low, high, method = line.value, None, None, ""
    if line.passes:
        low, high, method = min(line.passes), max(line.passes), how(line.passes, wanted)
        if value is not None and value != middle(line.passes):
            words = f"{line.words}: {value} is not the middle of the passes, {middle(line.passes)}"
            troubles.append((line.words, words))
        value = middle(line.passes)
    return Entry(
        line=line.line,
        written_name=line.name,
        unit=line.unit,
        # A clock that runs ahead counts in no future.
        counted_at=min(line.counted_at, clock.now),
        counter=person,
        value=value,
        at_least=line.at_least,
        low=low,
        high=high,
        passes=len(line.passes) or None,
        letter=line.letter,
        sexes=line.sexes,
        seen=line.seen,
        method=method,
        remark=line.remark,
        origin=line.words,
    )


def _keep(
    one: ReceivedCount,
    device: Device,
    clock: Clock,
    taken: _Taken | None,
    troubles: Sequence[tuple[str, str]],
) -> dict[str, Any]:
    """Writes the entry with its answer."""
    answer = {
        "identifier": str(one.identifier),
        "outcome": "sent" if taken else "came back",
        "already": False,
        "event": None,
        "words": taken.words if taken else "",
        "flags": [{"kind": kind, "words": words} for kind, words in (taken.flags if taken else ())],
        "problems": [{"field": about, "words": words} for about, words in troubles],
        "undo_until": None,
        "alarm": None,
    }
    counted = one.counted
    person = Person.objects.filter(pk=counted.person).first() if counted and not taken else None
    sheet = Sheet.objects.filter(number=counted.sheet).first() if counted and not taken else None
    CountEntry.objects.create(
        identifier=one.identifier,
        content_hash=one.content_hash,
        device=device,
        person=taken.person if taken else person,
        sheet=taken.sheet if taken else sheet,
        round=counted.round if counted else 1,
        saved_at=counted.saved_at if counted else None,
        received_at=clock.now,
        body=one.body,
        came_back=taken is None,
        answer=answer,
        replaces=counted.replaces if counted else None,
    )
    return answer
