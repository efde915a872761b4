"""Writes down what is expected of the quarter to come, also by itself when a period is closed."""

from datetime import date, datetime, tzinfo
from typing import Any

from django.db import transaction
from django.utils import timezone

from inventory.book.models import PeriodVersion

from ..models import Expectation
from ..queries.expecting import foreseen
from ..rules.spans import quarter_of


@transaction.atomic
def keep_expectations(
    *, first_day: date, now: datetime, zone: tzinfo, known_at: datetime | None = None
) -> list[Expectation]:
    """Keeps the range of each taxon for the quarter that begins on ``first_day``; answers those that are new.

    The same inputs a second time change nothing: a range is known by its fingerprint.
    """
    outlooks = foreseen(first_day, zone=zone, known_at=known_at)
    quarter = outlooks.quarter
    there = set(
        Expectation.objects.filter(quarter_starts_on=quarter.first).values_list("taxon_id", "fingerprint")
    )
    return Expectation.objects.bulk_create(
        Expectation(
            taxon_id=row.taxon_id,
            quarter_starts_on=quarter.first,
            quarter_ends_on=quarter.last,
            opening=row.opening,
            low=row.expected.low,
            middle=row.expected.middle,
            high=row.expected.high,
            inputs=row.inputs,
            fingerprint=row.fingerprint,
            known_at=known_at or now,
            made_at=now,
        )
        for row in outlooks.rows
        if row.expected is not None and (row.taxon_id, row.fingerprint) not in there
    )


def keep_at_closing(instance: PeriodVersion, *, created: bool, **_: Any) -> None:
    """When a period is closed that ends with a quarter: once the closing is kept, so are the ranges.

    Afterwards and by itself, so that no closing fails for a range that cannot be given.
    """
    zone = timezone.get_current_timezone()
    first_day = instance.boundary.astimezone(zone).date()
    if created and quarter_of(first_day).first == first_day:
        moment = instance.closed_at
        transaction.on_commit(
            lambda: _kept(first_day, moment, zone),
            robust=True,
        )


def _kept(first_day: date, moment: datetime, zone: tzinfo) -> None:
    keep_expectations(first_day=first_day, now=moment, zone=zone, known_at=moment)
