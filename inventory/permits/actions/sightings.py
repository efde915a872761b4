"""Writes down that a marked animal was seen, and takes it back."""

from collections.abc import Collection
from datetime import datetime, tzinfo

from django.db import transaction

from inventory.book.models import Cell
from inventory.book.rules.happened import Happened
from inventory.people.models import Person

from ..models import Permit, Sighting, SightingWithdrawn

# What the database keeps of the number of a line.
MOST_LINES = 32_767


class SightingRefused(Exception):
    """What was written cannot be a sighting; ``column`` says where, the message what to do."""

    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column = column


@transaction.atomic
def record_sighting(
    *,
    cell: Cell,
    permit: Permit,
    mark: str,
    happened: Happened,
    by: Person,
    now: datetime,
    zone: tzinfo,
    n: int = 1,
    line_number: int | None = None,
    among: Collection[str] | None = None,
) -> Sighting:
    """Keeps a sighting; the same one twice stands once. Raises :class:`SightingRefused`.

    See :func:`read_sighting` for what is refused.
    """
    read = read_sighting(
        cell=cell,
        permit=permit,
        mark=mark,
        happened=happened,
        by=by,
        now=now,
        zone=zone,
        n=n,
        line_number=line_number,
        among=among,
    )
    same = Sighting.objects.filter(
        cell=cell, permit=permit, mark=read.mark, happened=read.happened, n=n, line_number=line_number
    )
    standing = same.filter(withdrawn=None).first()
    if standing is None:
        read.save()
    return standing or read


def read_sighting(
    *,
    cell: Cell,
    permit: Permit,
    mark: str,
    happened: Happened,
    by: Person,
    now: datetime,
    zone: tzinfo,
    n: int,
    line_number: int | None,
    among: Collection[str] | None,
) -> Sighting:
    """A sighting, not written yet; asks the database nothing. Raises :class:`SightingRefused`.

    One that the book leaves no room for is read too: the pages say that it is set aside. ``among``: the
    permits of which animals are or were among the lots that share with this one, where they are known; of
    another permit none can have been seen there.
    """
    if not cell.inside:
        raise SightingRefused("cell", "an animal is seen in a tank; choose one that the lot stands in")
    if n < 1:
        raise SightingRefused("n", "at least one animal was seen")
    if line_number is not None and not 1 <= line_number <= MOST_LINES:
        raise SightingRefused("line_number", f"a permit has lines from 1 to {MOST_LINES} at most")
    if not mark.strip():
        raise SightingRefused("mark", "say by what it is known: a tag, a clip, a scar, a picture")
    if among is not None and permit.number not in among:
        known = f"; there are {', '.join(sorted(among))}" if among else ""
        raise SightingRefused("permit", f"no animal of {permit.number} can be in this lot{known}")
    at = happened.effective_at(zone)
    if at > now:
        raise SightingRefused("happened", f"{happened} lies in the future")
    return Sighting(
        cell=cell,
        permit=permit,
        line_number=line_number,
        n=n,
        mark=mark.strip(),
        happened=str(happened),
        effective_at=at,
        entered_at=now,
        entered_by=by,
    )


@transaction.atomic
def withdraw_sighting(*, sighting: Sighting, why: str, by: Person, now: datetime) -> None:
    """Takes a sighting back with a reason; both stay readable. One that is withdrawn stays as it is."""
    if not why.strip():
        raise SightingRefused("why", "say why it was none")
    SightingWithdrawn.objects.get_or_create(
        sighting=sighting, defaults={"at": now, "by": by, "why": why.strip()}
    )
