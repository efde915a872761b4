"""One entry as a device states it: plain values, read and typed, not yet held against the book."""

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.book.rules.drafts import Numbers
from inventory.book.rules.ranges import Bounds, bounds_of

from .kinds import EntryKind
from .slips import StatedSlip

NONE = Numbers()


@dataclass(frozen=True, slots=True)
class StatedBody:
    """What became of the body."""

    kept: str
    bag: str = ""
    part: str = "whole"


@dataclass(frozen=True, slots=True)
class StatedReading:
    """One measurement."""

    quantity: str
    value: str
    unit: str


@dataclass(frozen=True, slots=True)
class Stated:
    """An entry; the fields are those of the interface, and their meaning stands there."""

    identifier: UUID
    kind: EntryKind
    saved_at: datetime
    place: str = ""
    person: int | None = None
    signed: str = ""
    happened: str = ""
    lot: str = ""
    open_name: str = ""
    numbers: Numbers = NONE
    at_least: int | None = None
    at_most: int | None = None
    to_place: str = ""
    to_lot: str = ""
    stage: str = ""
    to_stage: str = ""
    from_sex: str = ""
    to_sex: str = ""
    cause: str = ""
    suspicion: str = ""
    last_seen: str = ""
    body: StatedBody | None = None
    note: str = ""
    more_than_book: bool = False
    unlisted: bool = False
    letter: str = ""
    abundance: str = ""
    dead_on_arrival: int = 0
    reading: StatedReading | None = None
    slip: StatedSlip | None = None
    undoes: UUID | None = None
    replaces: UUID | None = None

    @property
    def bounds(self) -> Bounds | None:
        """The least and the most that the number can have been, when it was said."""
        return bounds_of(self.at_least, self.at_most)


@dataclass(frozen=True, slots=True)
class Trouble:
    """Why an entry came back: which field, and what to do."""

    field: str
    words: str


class ComesBack(Exception):
    """An entry that cannot be taken; every problem that was found."""

    def __init__(self, *troubles: Trouble) -> None:
        super().__init__("; ".join(trouble.words for trouble in troubles))
        self.troubles = list(troubles)


def comes_back(field: str, words: str) -> ComesBack:
    """One problem."""
    return ComesBack(Trouble(field, words))
