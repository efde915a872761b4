"""Takes readings of a tank's water, and says which range the house wants there."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils import timezone

from inventory.book.models import Place
from inventory.people.models import Person

from ..models.readings import Reading, WantedRange
from ..queries.readings import ranges_wanted
from ..rules.readings import NotAReading, checked, exactly, said
from ..rules.wanted import outside

_STATED = ("place_id", "quantity", "value", "unit", "taken_at", "by_id", "device", "note", "replaces_id")


class ReadingRefused(Exception):
    """A reading that was not taken; ``problems`` are pairs of a field and what to do about it."""

    def __init__(self, problems: Sequence[tuple[str, str]]) -> None:
        super().__init__("; ".join(words for _, words in problems))
        self.problems = list(problems)


@dataclass(frozen=True, slots=True)
class Taken:
    """The reading that stands. ``already``: sent before; ``outside``: beyond the range wanted, in words."""

    reading: Reading
    already: bool
    words: str
    outside: str = ""


def take_reading(
    *,
    identifier: UUID,
    place: str,
    quantity: str,
    value: str | Decimal,
    unit: str,
    taken_at: datetime,
    by: Person | None,
    now: datetime,
    entered_at: datetime | None = None,
    device: str = "",
    note: str = "",
    replaces: UUID | None = None,
) -> Taken:
    """Keeps one reading; the same identifier with the same reading again is the one that stands.

    ``place`` is a code, ``taken_at`` aware. ``replaces`` names a reading of the same place and quantity
    that this one corrects. Raises :class:`ReadingRefused`: a place that is none, a value that can be no
    reading, a moment still to come, one that is replaced already, nobody and nothing that took it, and
    an identifier that was sent with something else.
    """
    problems: list[tuple[str, str]] = []
    found = Place.objects.filter(code=place).first()
    if found is None:
        problems.append(("place", f"there is no place {place!r}; expected the code of one of ours"))
    number = Decimal(0)
    try:
        number = checked(quantity, value, unit)
    except NotAReading as wrong:
        problems.append((wrong.column, str(wrong)))
    if taken_at > now:
        local = f"{timezone.localtime(taken_at):%Y-%m-%d %H:%M}"
        problems.append(("taken_at", f"{local} is still to come; expected when it was read"))
    if by is None and not device:
        problems.append(("by", "nobody and no device took it; expected one of them"))
    if problems or found is None:
        raise ReadingRefused(problems)
    reading = Reading(
        identifier=identifier,
        place=found,
        quantity=quantity,
        value=number,
        unit=unit,
        taken_at=taken_at,
        entered_at=entered_at or now,
        recorded_at=now,
        by=by,
        device=device,
        note=note.strip(),
    )
    with transaction.atomic():
        stands, already = _keep(reading, replaces)
    beyond = outside(
        exactly(quantity, number, unit),
        unit,
        ranges_wanted([found.pk]).at(found.pk, quantity, timezone.localdate(taken_at)),
    )
    words = f"{reading.get_quantity_display()} {said(number, unit)}, {found.name}"
    return Taken(stands, already, f"{words}, {timezone.localtime(taken_at):%H:%M}", beyond)


@transaction.atomic
def want_range(
    *,
    place: Place,
    quantity: str,
    unit: str,
    low: Decimal | None,
    high: Decimal | None,
    since: date,
    by: Person,
    now: datetime,
) -> WantedRange:
    """Says which range is wanted from a day on. Raises :class:`ReadingRefused`."""
    try:
        low, high = (bound if bound is None else checked(quantity, bound, unit) for bound in (low, high))
    except NotAReading as wrong:
        raise ReadingRefused([(wrong.column, str(wrong))]) from wrong
    if low is not None and high is not None and low > high:
        raise ReadingRefused([("high", f"{said(high, unit)} is less than {said(low, unit)}; expected more")])
    return WantedRange.objects.create(
        place=place, quantity=quantity, unit=unit, low=low, high=high, since=since, set_by=by, set_at=now
    )


def _keep(reading: Reading, replaces: UUID | None) -> tuple[Reading, bool]:
    """The reading that stands under this identifier, and whether it was there before."""
    if replaces is not None:
        wrong = Reading.objects.filter(identifier=replaces).first()
        if wrong is None or (wrong.place_id, wrong.quantity) != (reading.place_id, reading.quantity):
            message = "the reading to be replaced is none of this place and quantity; choose it from the log"
            raise ReadingRefused([("replaces", message)])
        reading.replaces = wrong
    before = Reading.objects.filter(identifier=reading.identifier).first()
    if before is None:
        try:
            with transaction.atomic():
                reading.save(force_insert=True)
        except IntegrityError:
            # Somebody was faster: with the same identifier, or with another correction.
            before = Reading.objects.filter(identifier=reading.identifier).first()
            if before is None:
                message = "that reading has been replaced already; replace the newer one"
                raise ReadingRefused([("replaces", message)]) from None
        else:
            return reading, False
    if any(getattr(before, name) != getattr(reading, name) for name in _STATED):
        message = "this identifier was sent before with another reading; send it under a new one"
        raise ReadingRefused([("identifier", message)])
    return before, True
