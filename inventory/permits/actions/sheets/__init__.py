"""Loads permits, trips, takes, sightings and loans from a house's workbook: the book's `load` asks here."""

from collections.abc import Mapping, Sequence
from datetime import tzinfo
from functools import partial

from inventory.book.actions.load.guests import Guest, GuestLoad, GuestRow, GuestSheet
from inventory.book.rules import as_typed
from inventory.book.rules.sheets import Sheet

from ...rules.sheets import LOANS, PERMIT_LINES, PERMITS, SIGHTINGS, TAKES, TRIPS, Reader, readers_of
from .loans import write_loans
from .permits import write_permits
from .sightings import write_sightings
from .takes import write_takes

SHEETS = (PERMITS, PERMIT_LINES, TRIPS, TAKES, SIGHTINGS, LOANS)


def _readers(sheet: Sheet, zone: tzinfo) -> Mapping[str, Reader]:
    special = readers_of(sheet)
    if "entered" in sheet.columns:
        special["entered"] = partial(as_typed.read_moment, zone=zone)
    return special


def write(rows: Mapping[str, Sequence[GuestRow]], to: GuestLoad) -> None:
    """All sheets of the room, each after those that it speaks of."""
    if PERMITS.name in rows or PERMIT_LINES.name in rows:
        write_permits(rows.get(PERMITS.name, ()), rows.get(PERMIT_LINES.name, ()), to)
    if to.report.problem_count:
        return
    if TRIPS.name in rows or TAKES.name in rows:
        write_takes(rows.get(TRIPS.name, ()), rows.get(TAKES.name, ()), to)
    if SIGHTINGS.name in rows and not to.report.problem_count:
        write_sightings(rows[SIGHTINGS.name], to)
    if LOANS.name in rows:
        write_loans(rows[LOANS.name], to)


def guest() -> Guest:
    """What the book's load is told of these sheets."""
    return Guest(tuple(GuestSheet(sheet, partial(_readers, sheet)) for sheet in SHEETS), write)
