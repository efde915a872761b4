"""Sheets that a room above the book reads: it registers them when Django is ready, and the load asks it.

The book does not know of permits; whoever does says which columns a sheet has, how its cells are read,
and what is done with its rows::

    guests.ask(Guest(sheets, write))

Guests write after the events are posted, in the same transaction, in the order in which they asked; when
anything was wrong before, they are not asked, for what they would find wrong might only follow from that.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from ...rules.as_typed import Value
from ...rules.sheets import Sheet
from .report import LoadReport

Reader = Callable[[Value], Any]


@dataclass(frozen=True, slots=True)
class GuestRow:
    """One row that was read: its number in the sheet, and its values by column, empty ones left out."""

    number: int
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class GuestLoad:
    """What a guest is told: where to say what became of the rows, who loads, when, from which file."""

    report: LoadReport
    by: str
    now: datetime
    zone: tzinfo
    source_name: str


@dataclass(frozen=True, slots=True)
class GuestSheet:
    """One sheet: its columns, and the rules of those that are no plain text."""

    sheet: Sheet
    readers: Callable[[tzinfo], Mapping[str, Reader]]


@dataclass(frozen=True, slots=True)
class Guest:
    """A room's sheets, and what is done with their rows, which come by the name of the sheet."""

    sheets: Sequence[GuestSheet]
    write: Callable[[Mapping[str, Sequence[GuestRow]], GuestLoad], None]


_ASKED: list[Guest] = []


def ask(guest: Guest) -> None:
    """Registers the sheets of a room."""
    _ASKED.append(guest)


def asked() -> list[Guest]:
    """The rooms that registered, in their order."""
    return list(_ASKED)


def sheets_asked() -> list[GuestSheet]:
    """The sheets that are registered, in their order."""
    return [sheet for guest in _ASKED for sheet in guest.sheets]
