"""The one writer of the ledger: posts events, all or nothing.

Reads what the batch touches in a constant number of queries, resolves the drafts into flows with
the pure rules, checks, chains, and writes events and flows in bulk. The database's triggers move
the balances and refuse what the rules let slip.
"""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Any
from uuid import UUID

from django.db import IntegrityError, connection, transaction

from inventory.db.insert import FEW, insert_few, insert_rows
from inventory.db.locks import serialize_writers
from inventory.db.prepared import Question
from inventory.db.statistics import refresh_statistics
from inventory.db.trips import tell
from inventory.names.models import Taxon

from ..models import Account, Cell, Event, Flag, Flow, Lot, Place, StatedRange
from ..rules import chain
from ..rules.drafts import DraftLine, EventDraft, Problem
from ..rules.individuals import first_breach
from ..rules.kinds import ARRIVALS, EventKind
from ..rules.resolve import Refusal, flows_of
from ..rules.running import FlowDraft, RunningBook, merged
from . import post_flags, post_reading

# Characters that an event keeps of each text. SQLite would take more, PostgreSQL refuses.
_TEXTS = ("ref", "device", "party", "permit_number", "cause", "reason", "evidence")
_EVENT = [column.attname for column in Event._meta.concrete_fields]
_LONGEST = {column.name: column.max_length or 0 for column in Event._meta.fields if column.name in _TEXTS}


class LedgerRefused(Exception):
    """A batch that the ledger did not take; nothing of it was written.

    ``late``: the database itself refused it, so that a transaction without a savepoint is over.
    """

    def __init__(self, problems: Sequence[Problem], *, late: bool = False) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = list(problems)
        self.late = late


@dataclass(frozen=True, slots=True)
class Posted:
    """The answer to one draft. ``already`` tells that the event was there before."""

    event_id: int
    identifier: UUID
    already: bool


@dataclass(slots=True)
class _Reading:
    """One draft on its way into the book."""

    index: int
    draft: EventDraft
    effective_at: datetime
    content_hash: str
    flows: list[FlowDraft] = field(default_factory=list)


def will_ask(*, identifier: UUID, lots: Mapping[str, int], person: str) -> list[Question | None]:
    """What posting one event of these lots (accession to number) by this person asks before it writes.

    For who has the writers' lock and reads ahead. A reversal asks more.
    """
    return [*post_reading.will_ask(identifier, lots, person), post_flags.will_ask()]


def post_event(draft: EventDraft, *, now: datetime, zone: tzinfo, savepoint: bool = True) -> Posted:
    """Posts one event. Raises :class:`LedgerRefused`."""
    return post_events([draft], now=now, zone=zone, savepoint=savepoint)[0]


def post_events(
    drafts: Sequence[EventDraft], *, now: datetime, zone: tzinfo, savepoint: bool = True
) -> list[Posted]:
    """Posts ``drafts`` and answers each, in their order.

    Idempotent on the client's identifier: the same identifier with the same content gives the
    first answer again. The batch is booked in order of happening, arrivals first, so that it may
    be given in any order. Raises :class:`LedgerRefused` with every problem found.

    Without a ``savepoint`` a caller in a transaction of its own lets go of all of it when the refusal is
    ``late`` or anything else is raised; a refusal that is not late has written nothing.
    """
    with transaction.atomic() if savepoint or not connection.in_atomic_block else nullcontext():
        return _post(drafts, now=now, zone=zone)


def _post(drafts: Sequence[EventDraft], *, now: datetime, zone: tzinfo) -> list[Posted]:
    serialize_writers()
    posted, fresh, problems = _split_known(drafts, zone)
    batch = post_reading.read([reading.draft for reading in fresh], zone)
    readings, more = _resolve(fresh, batch, now=now, zone=zone)
    problems += more + _breaches(readings, batch.book, zone)
    if problems:
        raise LedgerRefused(sorted(problems, key=lambda problem: problem.draft))
    for index, event in _write(readings, batch, now=now):
        posted[index] = Posted(event.pk, event.identifier, already=False)
    first = {draft.identifier: posted[index] for index, draft in enumerate(drafts) if index in posted}
    return [posted.get(i) or _repeat(first[draft.identifier]) for i, draft in enumerate(drafts)]


def _repeat(answer: Posted) -> Posted:
    return Posted(answer.event_id, answer.identifier, already=True)


def _split_known(
    drafts: Sequence[EventDraft], zone: tzinfo
) -> tuple[dict[int, Posted], list[_Reading], list[Problem]]:
    """Parts what the ledger has already from what is new, and refuses an identifier used twice."""
    known = post_reading.known_events([draft.identifier for draft in drafts])
    posted: dict[int, Posted] = {}
    fresh: list[_Reading] = []
    problems: list[Problem] = []
    contents: dict[UUID, str] = {}
    for index, draft in enumerate(drafts):
        content = draft.content_hash()
        known_id, known_content = known.get(draft.identifier, (0, content))
        first_content = contents.get(draft.identifier, known_content)
        if content != first_content:
            name = draft.ref or str(draft.identifier)
            problems.append(
                Problem(index, draft.origin, "ref", f"{name!r} is in use for another event: give a new ref")
            )
        elif known_id:
            posted[index] = Posted(known_id, draft.identifier, already=True)
        elif draft.identifier not in contents:
            fresh.append(_Reading(index, draft, draft.happened.effective_at(zone), content))
        contents[draft.identifier] = first_content
    return posted, fresh, problems


def _resolve(
    fresh: list[_Reading], batch: post_reading.Batch, *, now: datetime, zone: tzinfo
) -> tuple[list[_Reading], list[Problem]]:
    """Finds the flows of each draft, in order of happening; the running book moves along."""
    readings: list[_Reading] = []
    problems: list[Problem] = []
    for reading in _in_order(fresh):
        draft = reading.draft
        entered_at = draft.entered_at or now
        problems += _check_event(reading, batch, now=now, zone=zone)
        if draft.kind is EventKind.REVERSED:
            problems += _read_reversal(reading, batch, entered_at=entered_at)
        else:
            problems += _read_lines(reading, batch.book)
        # Only now: a reversal has got its moment from what it takes back.
        problems += _check_closings(reading, batch, entered_at=entered_at, zone=zone)
        batch.targets[draft.identifier] = post_reading.Target(
            draft.kind, reading.effective_at, entered_at, reading.flows
        )
        readings.append(reading)
    return readings, problems


def _in_order(fresh: Sequence[_Reading]) -> list[_Reading]:
    """In order of happening, arrivals first.

    A reversal follows what it takes back at once, or comes before all when that is in the book
    already: what else the batch says was entered in the light of it.
    """
    places = {
        reading.draft.identifier: (reading.effective_at, reading.draft.kind not in ARRIVALS, reading.index)
        for reading in fresh
    }

    def place(reading: _Reading) -> tuple[bool, datetime, bool, int, bool, int]:
        draft = reading.draft
        target = places.get(draft.reverses) if draft.reverses else None
        is_reversal = draft.kind is EventKind.REVERSED
        return (
            not is_reversal or target is not None,
            *(target or places[draft.identifier]),
            is_reversal,
            reading.index,
        )

    return sorted(fresh, key=place)


def _check_event(
    reading: _Reading, batch: post_reading.Batch, *, now: datetime, zone: tzinfo
) -> Iterable[Problem]:
    """What can be wrong with an event whatever its lines say."""
    draft = reading.draft
    entered_at = draft.entered_at or now

    def problem(column: str, message: str) -> Problem:
        return Problem(reading.index, draft.origin, column, message)

    for column, name in (("entered_by", draft.entered_by), ("approved_by", draft.approved_by)):
        if name and name not in batch.people:
            yield problem(column, f"nobody here is called {name!r}")
    if not draft.entered_by:
        yield problem("entered_by", "say who enters it")
    if entered_at > now:
        yield problem("entered", f"entered {entered_at.astimezone(zone):%Y-%m-%d %H:%M} lies in the future")
    if reading.effective_at > now:
        yield problem("happened", f"{draft.happened} lies in the future")
    elif draft.happened.earliest(zone).date() > entered_at.astimezone(zone).date():
        yield problem("entered", f"entered before it happened ({draft.happened})")
    for column, longest in _LONGEST.items():
        if len(getattr(draft, column)) > longest:
            yield problem(
                column, f"{len(getattr(draft, column))} characters long; expected at most {longest}"
            )
    if draft.kind is not EventKind.REVERSED and draft.reverses:
        yield problem("reverses", "only a reversed event reverses")
    if draft.kind is not EventKind.REVERSED and not draft.lines:
        yield problem("accession", "an event needs at least one line")
    yield from (problem(column, message) for column, message in draft.range_problems())


def _check_closings(
    reading: _Reading, batch: post_reading.Batch, *, entered_at: datetime, zone: tzinfo
) -> Iterable[Problem]:
    """Nothing is entered into a time that a closing has counted already: its snapshot would be wrong."""
    closed_at = batch.counted_at(reading.effective_at)
    if closed_at and entered_at <= closed_at:
        closed = f"{closed_at.astimezone(zone):%Y-%m-%d %H:%M}"
        message = f"the book up to then was closed on {closed}; a late entry is entered after that"
        yield Problem(reading.index, reading.draft.origin, "entered", message)


def _read_lines(reading: _Reading, book: RunningBook) -> Iterable[Problem]:
    """The flows of each line; the book moves along, so that no line takes what one before it took."""
    problems = []
    for line in reading.draft.lines:
        try:
            flows = flows_of(reading.draft, line, book, reading.effective_at)
        except Refusal as refusal:
            problems.append(_refused(reading, line, refusal))
        else:
            book.apply(flows, reading.effective_at)
            reading.flows.extend(flows)
    reading.flows = merged(reading.flows)
    return problems


def _refused(reading: _Reading, line: DraftLine, refusal: Refusal) -> Problem:
    return Problem(reading.index, line.origin or reading.draft.origin, refusal.column, refusal.message)


def _read_reversal(
    reading: _Reading, batch: post_reading.Batch, *, entered_at: datetime
) -> Iterable[Problem]:
    """A reversal runs the flows of its event backwards, at that event's own moment."""
    draft = reading.draft
    target = batch.targets.get(draft.reverses) if draft.reverses else None
    column, message = "reverses", ""
    if draft.lines:
        message = "a reversed event has no animals of its own; it takes back all of the other event"
    elif target is None:
        message = "the event to take back is not in the book; give the ref it was entered under"
    elif target.kind is EventKind.REVERSED:
        message = "a reversal is not reversed; enter the event again"
    elif draft.reverses in batch.reversed_already:
        message = "the event was taken back already"
    elif entered_at < target.entered_at:
        column, message = "entered", "entered before the event that it takes back was"
    if message or target is None or draft.reverses is None:
        return [Problem(reading.index, draft.origin, column, message)]
    batch.reversed_already.add(draft.reverses)
    reading.effective_at = target.effective_at
    reading.flows = [FlowDraft(flow.to_cell, flow.from_cell, flow.n) for flow in target.flows]
    batch.book.apply(reading.flows, reading.effective_at)
    return []


def _breaches(readings: Sequence[_Reading], book: RunningBook, zone: tzinfo) -> list[Problem]:
    """Individuals that the batch would double or lose, told at the last event that touches them."""
    last: dict[str, _Reading] = {}
    for reading in readings:
        for flow in reading.flows:
            for lot in (flow.from_cell.lot, flow.to_cell.lot):
                if book.lots[lot].individual:
                    last[lot] = reading
    problems = []
    for lot, reading in last.items():
        breach = first_breach(lot, book.histories[lot], zone)
        if breach:
            message = f"{breach[1]}; look at its history first"
            origin = reading.draft.lines[0].origin if reading.draft.lines else ""
            problems.append(Problem(reading.index, origin or reading.draft.origin, "accession", message))
    return problems


def _write(
    readings: Sequence[_Reading], batch: post_reading.Batch, *, now: datetime
) -> list[tuple[int, Event]]:
    """Writes events, cells and flows, then raises and settles flags."""
    if not readings:
        return []
    cells = post_reading.cell_ids(batch, (cell for r in readings for f in r.flows for cell in f[:2]))
    events = _chained(readings, batch, now=now)
    try:
        _insert(
            [{name: getattr(event, name) for name in _EVENT} for event in events],
            [
                {
                    "event_id": event.id,
                    "from_cell_id": cells[flow.from_cell],
                    "to_cell_id": cells[flow.to_cell],
                    "n": flow.n,
                    "effective_at": event.effective_at,
                    "entered_at": event.entered_at,
                    "reversal": event.reverses_id is not None,
                }
                for event, reading in zip(events, readings, strict=True)
                for flow in reading.flows
            ],
            [
                {"event_id": event.id, **bounds._asdict()}
                for event, reading in zip(events, readings, strict=True)
                if (bounds := reading.draft.bounds)
            ],
        )
    except IntegrityError as error:
        # The rules looked at whole days and let it pass; row by row the database cannot. Nothing more is
        # asked of it: the transaction, or the savepoint of this batch, goes with what is raised.
        message = f"in this order an individual would be in two places or in none ({error})"
        problem = Problem(readings[0].index, readings[0].draft.origin, "", message)
        raise LedgerRefused([problem], late=True) from error
    post_flags.raise_and_settle([(e, r.flows) for e, r in zip(events, readings, strict=True)], batch, now=now)
    if _ledger_doubled(events[0].id, events[-1].id):
        refresh_statistics((Account, Cell, Event, Flag, Flow, Lot, Place, Taxon))
    return [(reading.index, event) for reading, event in zip(readings, events, strict=True)]


def _insert(events: list[dict[str, Any]], flows: list[dict[str, Any]], bounds: list[dict[str, Any]]) -> None:
    """One statement a table, so that a trigger for each statement runs once; few rows in one trip."""
    tables = [
        (model, rows) for model, rows in ((Event, events), (Flow, flows), (StatedRange, bounds)) if rows
    ]
    if all(len(rows) <= FEW for _, rows in tables):
        tell([insert_few(model, rows) for model, rows in tables])
        return
    for model, rows in tables:
        insert_rows(model, list(rows[0]), (list(row.values()) for row in rows))


def _ledger_doubled(first: int, last: int) -> bool:
    """True when these events bring the ledger past a power of two, from a thousand on."""
    return last >= 1_024 and (first - 1).bit_length() < last.bit_length()


def _chained(readings: Sequence[_Reading], batch: post_reading.Batch, *, now: datetime) -> list[Event]:
    """Unsaved events, numbered on from the last one, each with the hash of the one before."""
    last_id, previous = post_reading.head_of_chain()
    ids = dict(batch.ids)
    events = []
    for number, reading in enumerate(readings, start=last_id + 1):
        draft = reading.draft
        event = Event(
            id=number,
            identifier=draft.identifier,
            ref=draft.ref,
            kind=draft.kind.value,
            happened=str(draft.happened),
            effective_at=reading.effective_at,
            entered_at=draft.entered_at or now,
            entered_by_id=batch.people[draft.entered_by],
            recorded_at=now,
            approved_by_id=batch.people[draft.approved_by] if draft.approved_by else None,
            device=draft.device,
            party=draft.party,
            permit_number=draft.permit_number,
            cause=draft.cause,
            reason=draft.reason,
            evidence=draft.evidence,
            note=draft.note,
            reverses_id=ids[draft.reverses] if draft.reverses else None,
            content_hash=reading.content_hash,
            previous_hash=previous,
        )
        event.hash = previous = chain.event_hash(previous, event, reading.flows, draft.bounds)
        ids[draft.identifier] = number
        events.append(event)
    return events
