"""Counts outside of sheets that are about to be made, and what crossed the glass before those that were."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from django.db.models import Exists, OuterRef, Q, QuerySet

from inventory.book.models import Event, Flow

from ..models import CountToCome, DrawnLine, SpotCount
from ..rules.settings import CensusSettings

# What was never counted lapses.
LAPSES = timedelta(days=1)


def still_to_come() -> QuerySet[CountToCome]:
    """Those whose count is not kept yet, lapsed ones among them."""
    counted = SpotCount.objects.filter(
        Q(counter=OuterRef("counter")) | Q(second=OuterRef("counter")),
        place=OuterRef("place"),
        taxon=OuterRef("taxon"),
        unit=OuterRef("unit"),
        typed_at__gte=OuterRef("said_at"),
    )
    open_lines = DrawnLine.objects.filter(draw=OuterRef("draw"), place=OuterRef("place"), result=None)
    return CountToCome.objects.filter(
        Q(draw=None) & ~Exists(counted) | Q(draw__isnull=False) & Exists(open_lines)
    )


# Where something was counted, and when.
Counted = tuple[int, datetime]


def crossed(counted: Sequence[Counted], settings: CensusSettings) -> Mapping[Counted, list[Event]]:
    """Events that crossed a place's glass in its quiet time before a count. Two queries."""
    if not counted:
        return {}
    hours = timedelta(hours=settings.quiet_hours_before_count)
    wide = Q(effective_at__gte=min(at for _, at in counted) - hours)
    wide &= Q(effective_at__lt=max(at for _, at in counted))
    flows = Flow.objects.filter(wide, reversal=False).values_list(
        "event_id", "from_cell__account__place", "to_cell__account__place", "effective_at"
    )
    found: dict[Counted, set[int]] = defaultdict(set)
    for event, start, end, effective_at in flows:
        for place, at in counted:
            if start != end and place in (start, end) and at - hours <= effective_at < at:
                found[place, at].add(event)
    events = Event.objects.in_bulk({pk for pks in found.values() for pk in pks})
    return {key: [events[pk] for pk in sorted(pks)] for key, pks in found.items()}
