"""Which quarters were restated after they were closed."""

from collections.abc import Sequence
from datetime import date, datetime, tzinfo

from inventory.book.models import PeriodVersion


def restated_on(ends: Sequence[date], *, zone: tzinfo, known_at: datetime | None = None) -> dict[date, str]:
    """By the last day of a quarter, the newest version of the period that ends on it, where it is not the
    first: "2026 Q2 version 2, signed 2026-10-20". One query."""
    versions = PeriodVersion.objects.select_related("period").filter(period__ends_on__in=ends, number__gt=1)
    if known_at is not None:
        versions = versions.filter(closed_at__lte=known_at)
    return {
        one.period.ends_on: f"{one}, signed {one.closed_at.astimezone(zone):%Y-%m-%d}"
        for one in versions.order_by("closed_at", "number")
    }
