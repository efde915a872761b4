"""What the tellers of a history share."""

from datetime import date, datetime, time
from typing import Any

from django.db.models import Q, QuerySet
from django.utils import timezone

from inventory.book.history import About, Subject, Told
from inventory.book.models import Event


def events_of(subject: Subject) -> "QuerySet[Event, Any]":
    """The events that touch a lot or a place, as a subquery."""
    field = "lot" if subject.kind is About.LOT else "account__place"
    ends = Q(**{f"flows__from_cell__{field}": subject.pk}) | Q(**{f"flows__to_cell__{field}": subject.pk})
    return Event.objects.filter(ends).order_by().values("pk")


def day(
    on: date, what: str, words: str, who: str = "", *, entered_at: datetime | None = None, url: str = ""
) -> Told:
    """What was said of a day: it happened at its start."""
    moment = timezone.make_aware(datetime.combine(on, time()))
    return Told(moment, entered_at or moment, what, words, who, happened=f"{on:%Y-%m-%d}", url=url)
