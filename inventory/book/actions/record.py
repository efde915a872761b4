"""What a person records at a desk: the event, and what other rooms do about it, all of it or nothing.

The book knows nothing of alarms. A room above registers, when Django is ready, what it does about an event
that has just been recorded, in the same transaction::

    record.ask(alarms_of_recorded)

Loads of old books and the settling of a census do not come through here: they wake nobody.
"""

from collections.abc import Callable
from datetime import datetime, tzinfo

from django.db import transaction

from ..models import Event
from ..rules.drafts import EventDraft
from .post import Posted, post_event

After = Callable[[Event, datetime], str]

_ASKED: list[After] = []


def ask(after: After) -> None:
    """Registers ``after``; it is told the new event and the moment, and answers in words what it did."""
    if after not in _ASKED:
        _ASKED.append(after)


@transaction.atomic
def record_event(draft: EventDraft, *, now: datetime, zone: tzinfo) -> tuple[Posted, list[str]]:
    """Posts one event and tells the other rooms, unless it was sent before; what they did, in words.

    Raises LedgerRefused.
    """
    posted = post_event(draft, now=now, zone=zone)
    if posted.already:
        return posted, []
    event = Event.objects.select_related("reverses").get(pk=posted.event_id)
    return posted, [said for after in _ASKED if (said := after(event, now))]
