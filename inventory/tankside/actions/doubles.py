"""Decides on two events that look like one."""

from datetime import datetime, tzinfo
from uuid import UUID, uuid5

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.book.actions.post import post_event
from inventory.book.models import Event, Flag
from inventory.book.models.flags import FlagKind
from inventory.book.queries.settings import numbers_in_use
from inventory.book.rules.drafts import EventDraft
from inventory.book.rules.happened import Happened
from inventory.book.rules.kinds import EventKind
from inventory.people.models import Person

from ..models import DoubleDecision, Entry
from .alarms import limits_of, tell_of_taken_back

# Namespace of identifiers of these reversals: the same answer twice is one event.
_NAMESPACE = UUID("5c1d1c0e-1b77-5c0a-9b52-2b8d0a6f4e11")


class NotYours(Exception):
    """Who entered an event does not decide alone that it was none."""


class DecidedAlready(Exception):
    """Somebody was faster."""


@transaction.atomic
def same(*, first: Event, second: Event, by: Person, now: datetime, zone: tzinfo) -> Event:
    """ "The same": the event that was entered later is taken back. Both stay readable.

    Two people stand behind it, who entered and who takes back; so it is not for who entered both.
    Raises :class:`NotYours`, :class:`DecidedAlready`, and the ledger's own refusal.
    """
    if second.entered_by_id == by.pk:
        raise NotYours(
            f"You entered event {second.pk} yourself: let somebody else say that it was the same, or take "
            "it back from its own page, where a second person approves."
        )
    _decide(first, second, DoubleDecision.Answer.SAME, by=by, now=now)
    local = timezone.localtime(now, zone).replace(tzinfo=None, second=0, microsecond=0)
    posted = post_event(
        EventDraft(
            identifier=uuid5(_NAMESPACE, f"{first.identifier} {second.identifier}"),
            kind=EventKind.REVERSED,
            happened=Happened(local, local),
            entered_by=by.name,
            reason=f"entered twice: the same as event {first.pk}",
            reverses=second.identifier,
        ),
        now=now,
        zone=zone,
    )
    # With the event goes what was asked of it.
    Flag.objects.filter(event=second, settled_at=None).update(settled_at=now, settled_by=by)
    Flag.objects.filter(event=first, kind=FlagKind.DOUBLE, settled_at=None).update(
        settled_at=now, settled_by=by
    )
    if second.kind == EventKind.DIED:
        tell_of_taken_back(second, limits=limits_of(numbers_in_use()), now=now)
    return Event.objects.get(pk=posted.event_id)


@transaction.atomic
def two(*, first: Event, second: Event, by: Person, now: datetime) -> None:
    """ "Two": both stand, and this pair is not asked again. Raises :class:`DecidedAlready`."""
    _decide(first, second, DoubleDecision.Answer.TWO, by=by, now=now)
    Flag.objects.filter(event__in=[first, second], kind=FlagKind.DOUBLE, settled_at=None).update(
        settled_at=now, settled_by=by
    )


def forget_twins_of(entry: Entry, *, by: Person, now: datetime) -> None:
    """What was suspected to double an entry that is taken back is a double no more."""
    Flag.objects.filter(
        kind=FlagKind.DOUBLE,
        settled_at=None,
        event__tank_entry__person=entry.person,
        event__tank_entry__place=entry.place,
        event__tank_entry__lot=entry.lot,
        event__tank_entry__kind=entry.kind,
        event__tank_entry__total=entry.total,
    ).update(settled_at=now, settled_by=by)


def _decide(first: Event, second: Event, answer: str, *, by: Person, now: datetime) -> None:
    try:
        with transaction.atomic():
            DoubleDecision.objects.create(
                first=first, second=second, answer=answer, decided_by=by, decided_at=now
            )
    except IntegrityError:
        raise DecidedAlready(
            f"Somebody has decided on events {first.pk} and {second.pk} already; nothing was changed."
        ) from None
