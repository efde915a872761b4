"""What a door hands to the ledger's writer: one event as its writer states it."""

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from datetime import datetime
from uuid import UUID, uuid5

from .happened import Happened
from .kinds import EventKind
from .ranges import RANGED, Bounds, bounds_of, problems

# Namespace of identifiers made from a writer's own ``ref``: the same ref is the same event.
REF_NAMESPACE = UUID("6f3c1b52-0f0d-5c59-9a3c-7c1f6f1d9a10")


def identifier_of(ref: str) -> UUID:
    """The event identifier that belongs to a writer's own reference."""
    try:
        return UUID(ref)
    except ValueError:
        return uuid5(REF_NAMESPACE, ref)


@dataclass(frozen=True, slots=True)
class Numbers:
    """Animals by sex, four whole numbers; ``unknown`` means the writer did not state the sex."""

    males: int = 0
    females: int = 0
    hermaphrodites: int = 0
    unknown: int = 0

    @property
    def total(self) -> int:
        return self.males + self.females + self.hermaphrodites + self.unknown

    def by_sex(self) -> tuple[tuple[str, int], ...]:
        """(sex, number) pairs that are not zero, in the order of the columns."""
        pairs = (
            ("male", self.males),
            ("female", self.females),
            ("hermaphrodite", self.hermaphrodites),
            ("unknown", self.unknown),
        )
        return tuple((sex, n) for sex, n in pairs if n)


@dataclass(frozen=True, slots=True)
class DraftLine:
    """One line of an event: how many of which lot, where, and where to.

    ``lot`` is an accession number, ``place`` a place code. For arrivals ``place`` is where the
    animals go, for everything else where they are. ``origin`` is where the line was written
    ("sheet events, row 12"); it is told in errors and is no part of the event.
    """

    lot: str
    place: str
    numbers: Numbers
    stage: str = ""
    to_place: str = ""
    to_lot: str = ""
    from_sex: str = ""
    to_sex: str = ""
    to_stage: str = ""
    origin: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class EventDraft:
    """One event as its writer states it. ``entered_by`` and ``approved_by`` are names of people.

    ``entered_at`` is left out for what is entered now; a slip typed later or a loaded history
    states it. ``reverses`` is the identifier of the event that this one takes back. ``at_least`` and
    ``at_most`` bound the number of animals of all lines, where it could not be counted exactly.
    """

    identifier: UUID
    kind: EventKind
    happened: Happened
    entered_by: str
    lines: Sequence[DraftLine] = ()
    ref: str = ""
    entered_at: datetime | None = None
    approved_by: str = ""
    device: str = ""
    party: str = ""
    permit_number: str = ""
    cause: str = ""
    reason: str = ""
    evidence: str = ""
    note: str = ""
    reverses: UUID | None = None
    at_least: int | None = None
    at_most: int | None = None
    origin: str = field(default="", compare=False)

    @property
    def total(self) -> int:
        """Animals of all lines."""
        return sum(line.numbers.total for line in self.lines)

    @property
    def bounds(self) -> Bounds | None:
        """The least and the most that the total can have been, when the writer said so."""
        return bounds_of(self.at_least, self.at_most)

    def range_problems(self) -> Iterable[tuple[str, str]]:
        """What is wrong with them: (field, what to do)."""
        return problems(self.total, self.bounds, may_be_one=self.kind in RANGED) if self.bounds else ()

    def content_hash(self) -> str:
        """SHA-256 of all that the writer stated: the same identifier must come with the same."""
        # Written out: asdict copies deeply, which took a fifth of a load's time.
        stated = {name: getattr(self, name) for name in _EVENT_STATED}
        stated["happened"] = str(self.happened)
        stated["lines"] = [
            {name: getattr(line, name) for name in _LINE_STATED}
            | {"numbers": {name: getattr(line.numbers, name) for name in _SEXES}}
            for line in self.lines
        ]
        if self.bounds is not None:
            # Only then: what was sent before there were ranges keeps its hash.
            stated["range"] = list(self.bounds)
        text = json.dumps(stated, sort_keys=True, ensure_ascii=False, default=str)
        return hashlib.sha256(text.encode()).hexdigest()


_SEXES = tuple(item.name for item in fields(Numbers))
_LINE_STATED = tuple(item.name for item in fields(DraftLine) if item.name not in ("numbers", "origin"))
_EVENT_STATED = tuple(
    item.name
    for item in fields(EventDraft)
    if item.name not in ("lines", "happened", "origin", "entered_at", "at_least", "at_most")
)


@dataclass(frozen=True, slots=True)
class Problem:
    """Why an event was not taken: where, which field, what was wrong, and what was expected."""

    draft: int
    origin: str
    column: str
    message: str

    def __str__(self) -> str:
        where = ", ".join(part for part in (self.origin, self.column and f"column {self.column}") if part)
        return f"{where}: {self.message}" if where else self.message
