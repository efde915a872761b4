"""Closing a period: the next version of its figures, kept as a snapshot with a fingerprint."""

from datetime import datetime, tzinfo

from django.db import transaction

from inventory.db.locks import serialize_writers
from inventory.names.models import Taxon
from inventory.people.models import Person

from .. import statements
from ..models import Event, Period, PeriodBalance, PeriodVersion, VersionStatement
from ..queries.quantities import cell_balances
from ..rules.fingerprint import CONTENTS, canonical, fingerprint, names_digest, sha256
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
        boundary=end,
        signed_by=signed_by,
        note=note,
        fingerprint=fingerprint(balances),
    )
    PeriodBalance.objects.bulk_create(
        (PeriodBalance(version=version, cell_id=cell, n=n) for cell, n in sorted(balances.items())),
        batch_size=1_000,
    )
    _keep_papers(version, zone)
    return version


def _keep_papers(version: PeriodVersion, zone: tzinfo) -> None:
    """Keeps what every room writes about the closing, and the list of contents with all hashes."""
    kept = [
        VersionStatement(
            version=version,
            name=paper.name,
            media_type=paper.media_type,
            content=paper.content,
            sha256=sha256(paper.content),
        )
        for paper in statements.papers_of(version, zone)
    ]
    last = Event.objects.order_by("-id").values_list("id", "hash").first() or (0, "")
    contents = canonical(
        {
            "period": version.period.code,
            "version": version.number,
            "closed_at": version.closed_at.astimezone(zone).isoformat(),
            "boundary": version.boundary.astimezone(zone).isoformat(),
            "signed_by": version.signed_by.name,
            "note": version.note,
            "balances": version.fingerprint,
            "events": {"last": last[0], "hash": last[1]},
            "names": names_digest(Taxon.objects.values_list("id", "scientific_name", "authorship")),
            "papers": {paper.name: paper.sha256 for paper in kept},
        }
    )
    listed = VersionStatement(
        version=version,
        name=CONTENTS,
        media_type="application/json",
        content=contents,
        sha256=sha256(contents),
    )
    VersionStatement.objects.bulk_create([*kept, listed])
