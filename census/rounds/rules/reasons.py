"""The reasons of a difference, in their groups, and what each may enter into the book.

"Unexplained" is a reason, never a blank; suspicion never becomes "died".
"""

from dataclasses import dataclass
from enum import StrEnum

from inventory.book.rules.kinds import EventKind


class ReasonGroup(StrEnum):
    RECORD = "record"
    COUNT = "count"
    LIVING = "living"
    LOSS = "loss"
    GAIN = "gain"


class Enters(StrEnum):
    """A late event has its true date, an adjustment the count moment; a note leaves the book alone."""

    LATE_EVENT = "late event"
    ADJUSTMENT = "adjustment"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Reason:
    """``kind``: the event that an adjustment for this reason posts; ``None``: found or unaccounted by sign.

    ``unknown_cause``: nobody knows, or only suspects; the smaller limit of approval applies.
    """

    name: str
    group: ReasonGroup
    enters: frozenset[Enters]
    kind: EventKind | None = None
    unknown_cause: bool = False


_LATE = frozenset({Enters.LATE_EVENT})
_ADJUST = frozenset({Enters.ADJUSTMENT})
_EITHER = frozenset({Enters.LATE_EVENT, Enters.ADJUSTMENT})
_NOTE = frozenset({Enters.NOTE})
_R, _C, _LI, _LO, _G = ReasonGroup

REASONS: tuple[Reason, ...] = (
    Reason("late death entry", _R, _LATE),
    Reason("late birth entry", _R, _EITHER, EventKind.BORN),
    Reason("late move", _R, _LATE),
    Reason("double entry", _R, _LATE),
    Reason("wrong lot", _R, _LATE),
    Reason("wrong name", _R, _LATE),
    Reason("wrong unit", _R, _EITHER),
    Reason("typing", _R, _EITHER),
    Reason("sheet misread", _R, _NOTE),
    Reason("opening stock wrong", _R, _ADJUST),
    Reason("joined tanks", _C, _EITHER),
    Reason("two windows", _C, _NOTE),
    Reason("moved across the moment", _C, _NOTE),
    Reason("feed animals", _C, _NOTE),
    Reason("minimum count", _C, _EITHER),
    Reason("estimate error", _C, _ADJUST),
    Reason("look-alike", _C, _LATE),
    Reason("counted outside quiet time", _C, _NOTE),
    Reason("divided", _LI, _EITHER, EventKind.DIVIDED),
    Reason("brood or young", _LI, _EITHER, EventKind.BORN),
    Reason("settled from sea water", _LI, _EITHER, EventKind.SETTLED),
    Reason("came with rock, kelp or animals", _LI, _EITHER, EventKind.FOUND),
    Reason("sex change", _LI, _LATE),
    Reason("body found", _LO, _LATE),
    Reason("eaten (seen)", _LO, _LATE),
    Reason("eaten (suspected)", _LO, _ADJUST, EventKind.UNACCOUNTED, unknown_cause=True),
    Reason("jumped or drained (found)", _LO, _LATE),
    Reason("escaped to another tank", _LO, _EITHER),
    Reason("stolen or taken", _LO, _ADJUST, EventKind.UNACCOUNTED),
    Reason("unexplained loss", _LO, _ADJUST, EventKind.UNACCOUNTED, unknown_cause=True),
    Reason("unexplained gain", _G, _ADJUST, EventKind.FOUND, unknown_cause=True),
)
BY_NAME = {reason.name: reason for reason in REASONS}


def reason_of(name: str) -> Reason:
    """The reason called ``name``; raises :class:`ValueError` that lists what is allowed."""
    found = BY_NAME.get(name.strip().lower())
    if found is None:
        raise ValueError(f"{name!r} is not a reason; expected one of: {', '.join(BY_NAME)}")
    return found


def adjustment_kind(reason: Reason, n: int) -> EventKind:
    """The event that an adjustment of ``n`` (with its sign) posts; raises when reason and sign disagree."""
    if Enters.ADJUSTMENT not in reason.enters:
        allowed = " or ".join(sorted(reason.enters))
        raise ValueError(f"{reason.name!r} enters a {allowed}, not an adjustment")
    if reason.kind is None:
        return EventKind.FOUND if n > 0 else EventKind.UNACCOUNTED
    adds = reason.kind is not EventKind.UNACCOUNTED
    if adds != (n > 0):
        raise ValueError(f"{reason.name!r} is a {'gain' if adds else 'loss'}, but n is {n:+d}")
    return reason.kind
