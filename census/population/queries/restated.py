"""Which quarters were restated after they were closed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from inventory.book.models import PeriodVersion
from inventory.book.rules.days import day_in_words


@dataclass(frozen=True, slots=True)
class Restated:
    """``version`` in words, and the day on which it was signed."""

    version: str
    signed: date

    @property
    def words(self) -> str:
        """ "2026 Q2 version 2, signed 20 October 2026"."""
        return f"{self.version}, signed {day_in_words(self.signed)}"

    @property
    def in_a_file(self) -> str:
        """The same with a day as files have it."""
        return f"{self.version}, signed {self.signed}"


def restated_on(
    ends: Sequence[date], *, zone: tzinfo, known_at: datetime | None = None
) -> dict[date, Restated]:
    """By the last day of a quarter, the newest version of the period that ends on it, where it is not the
    first. One query."""
    versions = PeriodVersion.objects.select_related("period").filter(period__ends_on__in=ends, number__gt=1)
    if known_at is not None:
        versions = versions.filter(closed_at__lte=known_at)
    return {
        one.period.ends_on: Restated(str(one), one.closed_at.astimezone(zone).date())
        for one in versions.order_by("closed_at", "number")
    }
