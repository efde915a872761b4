"""Closing a period: the next version of its figures, kept as a snapshot with a fingerprint."""

from datetime import datetime, tzinfo

from django.db import transaction

from inventory.db.locks import serialize_writers
from inventory.people.models import Person

from ..models import Period, PeriodBalance, PeriodVersion
from ..queries.quantities import cell_balances
from ..rules.fingerprint import fingerprint
from ..rules.happened import end_of_day


class PeriodNotClosed(Exception):
    """A closing that was refused; nothing was written. The message says why and what to do."""


@transaction.atomic
def close_period(
    period: Period, *, closed_at: datetime, signed_by: Person, note: str = "", zone: tzinfo
) -> PeriodVersion:
    """Writes the next version of ``period``: balances at its end as known at ``closed_at``.

    A second closing is a restatement; earlier versions stay. ``closed_at`` is aware. Raises
    :class:`PeriodNotClosed` before the period's end, and at or before the version that is there.
    """
    serialize_writers()
    end = end_of_day(period.ends_on, zone)
    if closed_at < end:
        raise PeriodNotClosed(
            f"{period} ends on {period.ends_on}: it can be closed from {end.isoformat()} on,"
            f" not at {closed_at.astimezone(zone).isoformat()}"
        )
    last = period.versions.order_by("-number").first()
    if last is not None and closed_at <= last.closed_at:
        raise PeriodNotClosed(
            f"{period} version {last.number} was closed at {last.closed_at.astimezone(zone).isoformat()}:"
            f" version {last.number + 1} must come later"
        )
    # Every flow is read, no older snapshot: a mistake in one closing must not live on in the next.
    balances = cell_balances(before=end, known_at=closed_at, snapshots=False)
    version = PeriodVersion.objects.create(
        period=period,
        number=last.number + 1 if last else 1,
        closed_at=closed_at,
        signed_by=signed_by,
        note=note,
        fingerprint=fingerprint(balances),
    )
    PeriodBalance.objects.bulk_create(
        (PeriodBalance(version=version, cell_id=cell, n=n) for cell, n in sorted(balances.items())),
        batch_size=1_000,
    )
    return version
