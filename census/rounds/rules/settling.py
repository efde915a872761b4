"""What a registrar states when a line is settled, and the events that come of it."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime

from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers, identifier_of
from inventory.book.rules.happened import Happened, parse_happened
from inventory.book.rules.kinds import ARRIVALS, DEPARTURES, INSIDE, EventKind

from .reasons import Enters, Reason, adjustment_kind, reason_of
from .words import How

# Ways to settle that post events.
POSTING = frozenset(
    {How.LATE_EVENT, How.LATE_MOVE, How.CHANGE_OF_NAME, How.REGROUP, How.ADJUSTMENT, How.MISSING}
)
# Kinds of event that may turn out to have been forgotten; the others have ways of their own.
LATE_KINDS = tuple(
    kind
    for kind in EventKind
    if kind
    not in (
        EventKind.OPENING,
        EventKind.UNACCOUNTED,
        EventKind.FOUND,
        EventKind.REGROUPED,
        EventKind.MOVED,
        EventKind.MISSING,
    )
)
# Kinds whose animals go from one place to another.
_BETWEEN_PLACES = (EventKind.MOVED, EventKind.LOAN_OUT, EventKind.BACK_FROM_LOAN)


@dataclass(frozen=True, slots=True)
class Settling:
    """One decision as it is stated. What does not belong to ``how`` stays empty.

    ``n``: for an adjustment the change of the book with its sign; for all others a number of
    animals without sign. ``numbers`` says their sexes where they are known and then replaces
    ``n``'s unknown ones. ``accessions``: which individuals, or which lot, where the line has several.
    ``kind`` and ``happened``: of a late event (``happened`` also of a late move, ISO 8601).
    ``last_seen``: a day, for animals missing or written off; the event is then dated by the
    interval from it to the count moment. ``to_place``: place code of a late move or loan; a late
    return from a loan without it came to the line's own place.
    ``to_accession``: lot of a change of name. ``reverses``: ref or identifier of the event that a
    late ``reversed`` takes back. ``drift``: the registrar states that a class C count lies on the
    same side for the third census running, and ``evidence`` names the censuses.
    """

    how: How
    reason: str = ""
    n: int = 0
    numbers: Numbers | None = None
    accessions: tuple[str, ...] = ()
    kind: EventKind | None = None
    happened: str = ""
    last_seen: date | None = None
    to_place: str = ""
    to_accession: str = ""
    from_sex: str = ""
    to_sex: str = ""
    stage: str = ""
    to_stage: str = ""
    reverses: str = ""
    cause: str = ""
    drift: bool = False
    evidence: str = ""
    note: str = ""
    owner: str = ""
    due: date | None = None

    def fingerprint(self, *also: str) -> str:
        """SHA-256 of what is stated: the same statement about the same line is one decision."""
        text = json.dumps([asdict(self), *also], sort_keys=True, ensure_ascii=False, default=str)
        return hashlib.sha256(text.encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class LineFacts:
    """What the events of a line are written with.

    ``ref``: "CS-26Q3-07 line 5"; ``counted_at``: the count moment in the house's own time,
    without zone, at the latest the period's last minute; ``lots``: accession numbers of the line.
    """

    ref: str
    place: str
    lots: tuple[str, ...]
    individuals: bool
    counted_at: datetime


def check(settling: Settling) -> list[str]:
    """What is wrong with a statement whatever the book says; sentences."""
    problems = list(_check_reason(settling))
    if settling.how is How.OPEN_QUERY and not (settling.owner and settling.due):
        problems.append("an open query needs an owner and a day until which it is looked into")
    said = settling.reason or settling.evidence.strip() or settling.note.strip()
    if settling.how is How.OBSERVATION and not said:
        problems.append("an observation alone leaves the book as it is: give a reason, or say in a note why")
    if settling.how is How.MISSING and not settling.owner:
        problems.append("a search needs an owner")
    if settling.how is How.LATE_EVENT:
        problems += _check_late_event(settling)
    if settling.how is How.LATE_MOVE and not (settling.to_place and settling.happened):
        needed = ("" if settling.to_place else "the place it went to", _needed_day(settling.happened))
        problems.append(f"a late move needs {' and '.join(part for part in needed if part)}")
    if settling.how is How.CHANGE_OF_NAME and not settling.to_accession:
        problems.append("a change of name needs the lot that the animals belong to")
    if settling.how is How.REGROUP and not (settling.to_sex or settling.to_stage):
        problems.append("a regroup says the new sex or stage")
    if settling.numbers and settling.n and settling.numbers.total != abs(settling.n):
        problems.append(f"the sexes add up to {settling.numbers.total}, not {abs(settling.n)}")
    if settling.how is How.ADJUSTMENT and settling.n == 0:
        problems.append("an adjustment of nothing: give n with its sign")
    counted_in = settling.how in POSTING - {How.LATE_EVENT, How.ADJUSTMENT}
    if counted_in and settling.n <= 0 and not settling.numbers and not settling.accessions:
        problems.append("say how many animals")
    return problems


def _needed_day(happened: str) -> str:
    return "" if happened else "the day when it happened"


def change_of_book(settling: Settling) -> int:
    """By how many the statement changes the animals that the line's book has present."""
    n = how_many(settling)
    if settling.how is How.ADJUSTMENT:
        return settling.n
    if settling.how is How.LATE_EVENT:
        came_back = settling.kind is EventKind.BACK_FROM_LOAN and not settling.to_place
        if settling.kind in (*ARRIVALS, EventKind.SEEN_AGAIN) or came_back:
            return n
        return -n if settling.kind in (*DEPARTURES, *INSIDE) else 0
    return -n if settling.how in (How.LATE_MOVE, How.CHANGE_OF_NAME, How.MISSING) else 0


def how_many(settling: Settling) -> int:
    """Animals concerned, without sign."""
    if settling.numbers:
        return settling.numbers.total
    return abs(settling.n) or len(settling.accessions)


def drafts(
    settling: Settling, facts: LineFacts, *, decision: int, entered_by: str, approved_by: str = ""
) -> list[EventDraft]:
    """The events of the ``decision``-th decision about a line; [] for ways that post none.

    An adjustment is dated at the count moment, a late event at its true date. Raises
    :class:`ValueError` when the statement and the line do not fit.
    """
    if settling.how not in POSTING:
        return []
    kind = _kind(settling)
    ref = f"{facts.ref} decision {decision}"
    evidence = "; ".join(part for part in (facts.ref, settling.evidence) if part)
    return [
        EventDraft(
            identifier=identifier_of(ref),
            ref=ref,
            kind=kind,
            happened=_happened(settling, facts),
            entered_by=entered_by,
            approved_by=approved_by,
            lines=() if kind is EventKind.REVERSED else tuple(_lines(settling, facts)),
            cause=settling.cause,
            reason=settling.reason,
            evidence=evidence[:300],
            note=settling.note,
            reverses=identifier_of(settling.reverses) if settling.reverses else None,
            origin=facts.ref,
        )
    ]


def _check_reason(settling: Settling) -> Sequence[str]:
    if not settling.reason:
        return ["an adjustment needs a reason from the list"] if settling.how is How.ADJUSTMENT else []
    try:
        reason = reason_of(settling.reason)
        if settling.how is How.ADJUSTMENT and settling.n:
            adjustment_kind(reason, settling.n)
    except ValueError as error:
        return [str(error)]
    return _check_enters(settling, reason)


def _check_enters(settling: Settling, reason: Reason) -> list[str]:
    late = (How.LATE_EVENT, How.LATE_MOVE, How.CHANGE_OF_NAME, How.REGROUP)
    if settling.how in late and Enters.LATE_EVENT not in reason.enters:
        return [f"{reason.name!r} enters a {' or '.join(sorted(reason.enters))}, not a late event"]
    return []


def _check_late_event(settling: Settling) -> list[str]:
    if settling.kind is None or not settling.happened:
        return ["a late event needs its kind and when it happened"]
    if settling.kind is EventKind.REVERSED:
        return [] if settling.reverses else ["say which event is taken back: its ref"]
    if settling.kind in (EventKind.UNACCOUNTED, EventKind.FOUND):
        return ["animals that are written off or found by a count are an adjustment"]
    if settling.kind is EventKind.REGROUPED:
        return ["use regroup or change of name"]
    if how_many(settling) == 0 or settling.n < 0:
        return ["say how many animals, without sign"]
    return []


def _kind(settling: Settling) -> EventKind:
    if settling.how is How.ADJUSTMENT:
        return adjustment_kind(reason_of(settling.reason), settling.n)
    if settling.how is How.LATE_EVENT and settling.kind is not None:
        return settling.kind
    return {
        How.LATE_MOVE: EventKind.MOVED,
        How.CHANGE_OF_NAME: EventKind.REGROUPED,
        How.REGROUP: EventKind.REGROUPED,
        How.MISSING: EventKind.MISSING,
    }[settling.how]


def _happened(settling: Settling, facts: LineFacts) -> Happened:
    if settling.how in (How.LATE_EVENT, How.LATE_MOVE):
        return parse_happened(settling.happened)
    moment = facts.counted_at
    if settling.last_seen and settling.how in (How.ADJUSTMENT, How.MISSING):
        if settling.last_seen > moment.date():
            raise ValueError(f"last seen on {settling.last_seen}, after the count on {moment.date()}")
        return Happened(datetime.combine(settling.last_seen, datetime.min.time()), moment)
    return Happened(moment, moment)


def _lines(settling: Settling, facts: LineFacts) -> list[DraftLine]:
    """One line for a group, one for each individual that is named."""
    if settling.how in (How.ADJUSTMENT, How.MISSING) and facts.lots:
        strangers = [accession for accession in settling.accessions if accession not in facts.lots]
        if strangers:
            raise ValueError(f"{', '.join(strangers)} is not on {facts.ref}; it has {', '.join(facts.lots)}")
    if not facts.individuals:
        lots = settling.accessions or facts.lots
        if len(lots) != 1:
            which = f"say which lot: one of {', '.join(lots)}" if lots else "it has no lot in the book"
            raise ValueError(f"{facts.ref}: {which}")
        return [_line(settling, facts.place, lots[0], _numbers(settling))]
    named = settling.accessions or (facts.lots if len(facts.lots) == how_many(settling) else ())
    if not named:
        raise ValueError(f"say which individual: one of {', '.join(facts.lots)}")
    if len(named) != how_many(settling):
        raise ValueError(f"{how_many(settling)} animals, but {len(named)} named: {', '.join(named)}")
    return [_line(settling, facts.place, accession, Numbers(unknown=1)) for accession in named]


def _line(settling: Settling, place: str, lot: str, numbers: Numbers) -> DraftLine:
    moves = settling.how is How.LATE_MOVE or settling.kind in _BETWEEN_PLACES
    regroups = settling.how in (How.REGROUP, How.CHANGE_OF_NAME)
    return DraftLine(
        lot=lot,
        place=place,
        numbers=numbers,
        stage=settling.stage,
        to_place=settling.to_place if moves else "",
        to_lot=settling.to_accession if settling.how is How.CHANGE_OF_NAME else "",
        from_sex=settling.from_sex if regroups else "",
        to_sex=settling.to_sex if regroups else "",
        to_stage=settling.to_stage if regroups else "",
    )


def _numbers(settling: Settling) -> Numbers:
    if settling.numbers:
        return settling.numbers
    n = how_many(settling)
    columns = {"male": "males", "female": "females", "hermaphrodite": "hermaphrodites"}
    column = columns.get(settling.from_sex, "unknown") if settling.how is How.REGROUP else "unknown"
    return Numbers(**{column: n})
