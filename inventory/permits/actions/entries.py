"""What a door hands over: a trip and its takes as a slip says them; and why they are sent back."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from uuid import UUID

from inventory.book.models.cells import Sex
from inventory.book.rules.drafts import Problem
from inventory.book.rules.happened import Happened

from ..models import Case, Take, Trip


@dataclass(frozen=True, slots=True)
class TripEntry:
    """A trip as it is stated. ``people`` are names; ``identifier`` is made by the client."""

    identifier: UUID
    permit: str
    happened: Happened
    people: Sequence[str] = ()
    locality: str = ""
    latitude: Decimal | None = None
    longitude: Decimal | None = None
    datum: str = "WGS84"
    uncertainty_m: int | None = None
    depth_from_m: Decimal | None = None
    depth_to_m: Decimal | None = None
    gear: str = ""
    vessel: str = ""
    note: str = ""
    device: str = ""
    ref: str = ""
    origin: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class TakeEntry:
    """One line of a slip. Empty ``permit``: the trip's; empty ``line``: the one that covers it.

    What was kept goes to ``place``, into ``lot`` or a new one; or ``events`` name the events that
    brought it into the stock already; or it counts against the permit now and the desk brings it into
    the stock (``stock_later``), by correcting the take with its place.
    """

    identifier: UUID
    name: str
    caught: int
    let_go: int = 0
    died: int = 0
    kept: int = 0
    unit: str = ""
    into_stock: int | None = None
    permit: str = ""
    line: int | None = None
    bycatch: bool = False
    sex: str = ""
    stage: str = ""
    size_mm: int | None = None
    berried: bool | None = None
    lot: str = ""
    individual: bool = False
    place: str = ""
    remarks: str = ""
    events: Sequence[UUID] = ()
    stock_later: bool = False
    ref: str = ""
    origin: str = field(default="", compare=False)


@dataclass(frozen=True, slots=True)
class Recorded:
    """What became of a slip. ``read`` says in words how names were read; ``already``: it was here before."""

    trip: Trip
    takes: Sequence[Take]
    cases: Sequence[Case] = ()
    read: Sequence[str] = ()
    already: bool = False


@dataclass(frozen=True, slots=True)
class When:
    """By whom it is entered, and when: ``entered_at`` for what is typed later than it was entered."""

    now: datetime
    entered_at: datetime | None = None

    @property
    def entered(self) -> datetime:
        """When it was entered."""
        return self.entered_at or self.now


class TripRefused(Exception):
    """A slip that cannot be recorded as it stands; nothing of it was written.

    ``Problem.draft`` is the index of the take, -1 for the trip itself.
    """

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = list(problems)


def sex_unknown(entry: TakeEntry) -> str:
    """Why the sex that is stated is none that the book keeps, or nothing."""
    if not entry.sex or entry.sex in Sex.values:
        return ""
    return f"{entry.sex!r} is none of {', '.join(Sex.values)}; leave it empty when it is not stated"


def adds_up(entry: TakeEntry) -> str:
    """Why the four numbers cannot be, or nothing."""
    parts = entry.let_go + entry.died + entry.kept
    if entry.caught == parts:
        return "" if entry.caught else "nothing was caught; leave the row out, or say how many"
    return (
        f"{entry.caught} caught, but {entry.let_go} let go, {entry.died} died and {entry.kept} kept "
        f"are {parts}; expected the same number"
    )
