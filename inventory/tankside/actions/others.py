"""Entries that are no event of the ledger: notes and readings."""

from datetime import datetime

from inventory.people.models import Person

from ..queries.around import Surroundings
from ..rules import times
from ..rules.stated import ComesBack, Stated, Trouble, comes_back
from .booking import Booked, place_of
from .readings import ReadingRefused, take_reading

# So much of a note stands in its confirmation.
SHOWN = 80


def book_note(entry: Stated, around: Surroundings, person: Person) -> Booked:
    """A note on a tank, or on one lot in it. It is the entry itself; the book does not change."""
    place = place_of(entry, around)
    if entry.lot and entry.lot not in around.lots:
        raise comes_back("lot", f"there is no lot {entry.lot!r} in this house")
    lot = around.lots.get(entry.lot)
    about = f", {lot.house_name or lot.taxon.common_name or lot.taxon.scientific_name}" if lot else ""
    said = " ".join(entry.note.split())
    said = said if len(said) <= SHOWN else f"{said[:SHOWN]}…"
    return Booked(
        words=f"note{about}, {place.name}: {said}", person=person, place=place, lot=lot, undoable=True
    )


def book_reading(entry: Stated, around: Surroundings, person: Person | None, saved: datetime) -> Booked:
    """A measurement for the tank log."""
    place = place_of(entry, around)
    if entry.reading is None:
        raise comes_back("reading", "say what was measured, its value and its unit")
    # Without a moment of its own it was taken when it was saved, to the second.
    taken_at = saved
    if entry.happened:
        taken_at = times.happened(entry.happened, saved=saved, zone=around.zone).effective_at(around.zone)
    try:
        taken = take_reading(
            identifier=entry.identifier,
            place=place.code,
            quantity=entry.reading.quantity,
            value=entry.reading.value,
            unit=entry.reading.unit,
            taken_at=taken_at,
            by=person,
            now=around.now,
            entered_at=around.entered_at(entry, taken_at),
            device=around.device.name,
            note=entry.note,
        )
    except ReadingRefused as refused:
        raise ComesBack(*(Trouble(field, words) for field, words in refused.problems)) from refused
    beyond = f"; {taken.outside}" if taken.outside else ""
    return Booked(words=f"{taken.words}{beyond}", person=person, place=place)
