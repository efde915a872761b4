"""Signs what is said of a stay in quarantine or hospital, and sets the least days."""

from datetime import date, datetime

from django.db import IntegrityError, transaction

from inventory.book.models import Event, Lot, Place
from inventory.people.models import Person
from inventory.people.queries import roles_of
from inventory.people.rules.roles import Role

from ..models.quarantine import QuarantineRule, StayWord


class StayRefused(Exception):
    """What cannot be signed; the message says why and what to do."""


def expect_end(*, lot: Lot, place: Place, ends_on: date, words: str, by: Person, now: datetime) -> StayWord:
    """Says why a lot is there and until when at least; the least days of its group stay what they are."""
    return _sign(StayWord.Kind.EXPECTED, lot=lot, place=place, words=words, by=by, now=now, ends_on=ends_on)


def release(*, lot: Lot, place: Place, words: str, by: Person, now: datetime) -> StayWord:
    """The veterinarian signs that a lot may leave; ``words`` say which checks were done.

    It holds for those that are there now: who joins later begins anew.
    """
    _only_the_veterinarian(by)
    return _sign(StayWord.Kind.RELEASED, lot=lot, place=place, words=words, by=by, now=now)


@transaction.atomic
def look_at_early(*, event: Event, lot: Lot, place: Place, words: str, by: Person, now: datetime) -> StayWord:
    """The veterinarian signs to have seen that a lot left early, and why that was right or wrong."""
    _only_the_veterinarian(by)
    try:
        with transaction.atomic():
            return _sign(
                StayWord.Kind.LEFT_EARLY, lot=lot, place=place, words=words, by=by, now=now, event=event
            )
    except IntegrityError as error:
        raise StayRefused("Somebody has signed this already; what they wrote stands.") from error


def set_least_days(
    *, group: str, min_days: int, since: date, source: str, by: Person, now: datetime
) -> QuarantineRule:
    """The least days of a group from a day on; blank group: of all others."""
    _only_the_veterinarian(by)
    if not source.strip():
        raise StayRefused("Say on what the days rest: your plan, an authority, or “common practice”.")
    return QuarantineRule.objects.create(
        group=group.strip(), min_days=min_days, since=since, source=source.strip(), set_by=by, set_at=now
    )


def _only_the_veterinarian(by: Person) -> None:
    if by.user is None or Role.VETERINARIAN not in roles_of(by.user):
        raise StayRefused("The veterinarian decides on this, and nobody in their place.")


def _sign(
    kind: StayWord.Kind,
    *,
    lot: Lot,
    place: Place,
    words: str,
    by: Person,
    now: datetime,
    ends_on: date | None = None,
    event: Event | None = None,
) -> StayWord:
    if not words.strip():
        raise StayRefused("Say in a few words why: the checks that were done, or the reason.")
    return StayWord.objects.create(
        kind=kind, lot=lot, place=place, event=event, ends_on=ends_on, words=words.strip(), by=by, at=now
    )
