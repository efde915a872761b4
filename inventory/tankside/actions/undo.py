"""Takes an entry back within some minutes: a reversal. Both stay readable."""

from datetime import datetime, timedelta

from inventory.book.actions.post import LedgerRefused, post_event
from inventory.book.models import Flag
from inventory.people.models import Person

from ..models import Entry, Outcome
from ..queries.around import Surroundings
from ..rules import drafting, times
from ..rules.kinds import EntryKind
from ..rules.stated import Stated, comes_back
from .alarms import limits_of, tell_of_taken_back
from .booking import Booked, refused
from .doubles import forget_twins_of


def undo(entry: Stated, around: Surroundings, person: Person, saved: datetime) -> Booked:
    """The reversal of ``entry.undoes``. Raises :class:`ComesBack`."""
    first = _target(entry, around, person)
    booked = Booked(
        words=f"undone: {first.answer['words']}",
        person=person,
        place=first.place,
        lot=first.lot,
        undoes=first,
    )
    if first.event is None:
        # A note is no event: from now on it is shown as taken back.
        return booked
    happened = times.happened(entry.happened, saved=saved, zone=around.zone)
    entered_at = around.entered_at(entry, first.event.effective_at)
    if entered_at is not None and entered_at < first.event.entered_at:
        entered_at = None
    draft = drafting.reversal(
        entry,
        drafting.Around(
            author=person.name,
            device=around.device.name,
            happened=happened,
            entered_at=entered_at,
            lot="",
        ),
    )
    try:
        posted = post_event(draft, now=around.now, zone=around.zone)
    except LedgerRefused as error:
        raise refused(error) from error
    booked.event_id = posted.event_id
    forget_twins_of(first, by=person, now=around.now)
    if first.kind == EntryKind.DIED:
        tell_of_taken_back(first.event, limits=limits_of(around.numbers), now=around.now)
    # What was asked of the event is answered by its end.
    Flag.objects.filter(event=first.event, settled_at=None).update(settled_at=around.now, settled_by=person)
    return booked


def _target(entry: Stated, around: Surroundings, person: Person) -> Entry:
    """The entry to take back. Raises :class:`ComesBack` when it may not be."""
    first = (
        Entry.objects.select_related("event", "place", "lot", "undone_by")
        .filter(identifier__in=[entry.undoes], outcome=Outcome.SENT)
        .first()
    )
    if first is None:
        raise comes_back("undoes", "the entry to take back never arrived; there is nothing to undo")
    if first.device_id != around.device.pk or first.person_id != person.pk:
        raise comes_back(
            "undoes",
            "an entry is undone by who made it, on the device where it was made; tell the registrar",
        )
    if first.kind in (EntryKind.UNDO, EntryKind.READING, EntryKind.SLIP):
        raise comes_back("undoes", "this is not undone here: enter it again as it should have been")
    if hasattr(first, "undone_by"):
        raise comes_back("undoes", "it was undone before")
    minutes = timedelta(minutes=around.numbers["undo_minutes"])
    # By the device's own clock, so that an undo may wait for signal with what it undoes.
    soon = first.saved_at is not None and timedelta() <= entry.saved_at - first.saved_at <= minutes
    if not (soon or around.now - first.received_at <= minutes):
        number = f" event {first.event_id}" if first.event_id else " it"
        raise comes_back(
            "undoes",
            f"more than {around.numbers['undo_minutes']} minutes ago: the registrar takes{number} back",
        )
    return first
