"""Says who keeps a place from a day on."""

from collections.abc import Collection
from datetime import date, timedelta

from django.db import transaction

from inventory.people.models import Person

from ..models import Keeping, Place


class KeepingRefused(Exception):
    """Keepers that cannot be set; the message says why and what to do. Nothing was changed."""


@transaction.atomic
def set_keepers(*, place: Place, keepers: Collection[Person], since: date) -> list[Keeping]:
    """From ``since`` on exactly ``keepers`` look after ``place``; who goes on keeping it is not begun anew.

    What was before that day stays as it was. The day of the last change may be given again, to put right
    what was set for it; an earlier day is refused, for it would rewrite who kept the place then. Answers
    the keepings from that day on. Raises :class:`KeepingRefused`.
    """
    # The place's row is the gate: two who change its keepers at once go one after the other.
    Place.objects.select_for_update().get(pk=place.pk)
    rows = list(Keeping.objects.filter(place=place).order_by("since", "pk"))
    turns = [row.since for row in rows] + [row.until + timedelta(days=1) for row in rows if row.until]
    if turns and since < max(turns):
        raise KeepingRefused(
            f"The keepers of {place.code} changed on {max(turns)}; choose that day or a later one."
        )
    gone = sorted(person.name for person in keepers if person.left_on and person.left_on <= since)
    if gone:
        raise KeepingRefused(f"{', '.join(gone)} has left the house by then; choose somebody who is here.")
    wanted = {person.pk for person in keepers}
    day_before = since - timedelta(days=1)
    stays: set[int] = set()
    for row in rows:
        if row.until is not None and row.until < day_before:
            continue
        if row.keeper_id in wanted and row.keeper_id not in stays:
            stays.add(row.keeper_id)
            if row.until is not None:
                Keeping.objects.filter(pk=row.pk).update(until=None)
        elif row.since == since:
            # It was to begin on this very day, and never does.
            row.delete()
        elif row.until is None:
            Keeping.objects.filter(pk=row.pk).update(until=day_before)
    Keeping.objects.bulk_create(
        [Keeping(place=place, keeper_id=keeper, since=since) for keeper in sorted(wanted - stays)]
    )
    return list(Keeping.objects.filter(place=place, until=None).select_related("keeper"))
