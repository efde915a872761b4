"""Entries and events that look like one."""

from datetime import timedelta

from inventory.book.models import Lot, Place
from inventory.people.models import Person

from ..models import Entry, Outcome
from ..rules.stated import Stated


def twin_of(entry: Stated, *, person: Person, place: Place, lot: Lot, minutes: int) -> Entry | None:
    """Another entry of the same person, tank, lot, kind and number, saved within ``minutes``: the last one.

    What was taken back meanwhile is no twin. One query.
    """
    near = timedelta(minutes=minutes)
    twins = Entry.objects.filter(
        person=person,
        place=place,
        lot=lot,
        kind=entry.kind.value,
        total=entry.numbers.total,
        outcome=Outcome.SENT,
        saved_at__range=(entry.saved_at - near, entry.saved_at + near),
        event__isnull=False,
        event__reversed_by=None,
    ).exclude(identifier=entry.identifier)
    return twins.order_by("-id").first()
