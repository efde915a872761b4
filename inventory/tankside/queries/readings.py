"""Reads the tank log: readings as they stand, the last of each, and the ranges wanted."""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from django.db.models import OuterRef, QuerySet, Subquery
from django.utils import timezone

from inventory.book.models import Place

from ..models.readings import Reading, WantedRange
from ..rules.readings import QUANTITIES, converted, exactly, said
from ..rules.wanted import Wanted, WantedRanges, outside

# A probe may write every minute: no page draws or lists more than this of one period.
MOST = 20_000


@dataclass(frozen=True, slots=True)
class ReadingTold:
    """A reading for people: as it was stated, in the house's unit, and what the range says of it."""

    reading: Reading
    shown: str
    stated: str
    exact: Decimal
    outside: str

    @property
    def is_converted(self) -> bool:
        return self.shown != self.stated


def in_period(place: Place, *, since: datetime, before: datetime) -> list[Reading]:
    """The newest :data:`MOST` readings of a period, oldest first, replaced ones among them. One query."""
    found = Reading.objects.filter(place=place, taken_at__gte=since, taken_at__lt=before)
    newest = found.select_related("place", "by", "replaces", "replaced_by").order_by("-taken_at", "-id")[
        :MOST
    ]
    return list(newest)[::-1]


def last_of_each(places: Collection[int]) -> list[Reading]:
    """The newest reading that stands of each quantity and unit in each place. Two queries."""
    each = {
        f"newest_{number}": Subquery(
            _standing()
            .filter(place=OuterRef("pk"), quantity=quantity.code, unit=unit.code)
            .order_by("-taken_at", "-id")
            .values("pk")[:1]
        )
        for number, (quantity, unit) in enumerate((q, u) for q in QUANTITIES for u in q.units)
    }
    # A seek in the index for each, where grouping would read every reading of a probe.
    newest = Place.objects.filter(pk__in=places).order_by().values_list(*each.values())
    numbers = [number for row in newest for number in row if number is not None]
    found = Reading.objects.filter(pk__in=numbers).select_related("place", "by")
    return sorted(found, key=lambda one: (one.place.code, _RANK[one.quantity], one.unit))


def ranges_wanted(places: Collection[int] | None = None) -> WantedRanges:
    """The ranges of some places and of those above them; of all when none is named. Two queries."""
    parents = dict(Place.objects.values_list("pk", "parent_id"))
    wanted = WantedRange.objects.all()
    if places is not None:
        wanted = wanted.filter(place__in=_with_those_above(places, parents))
    ranges: dict[tuple[int, str], list[Wanted]] = defaultdict(list)
    for one in wanted.order_by("since", "id"):
        ranges[one.place_id, one.quantity].append(
            Wanted(one.quantity, one.unit, one.low, one.high, one.since)
        )
    return WantedRanges(ranges, parents)


def tell(reading: Reading, wanted: WantedRanges, *, temperature: str) -> ReadingTold:
    """A reading for people; ``temperature`` is the house's unit."""
    exact = exactly(reading.quantity, reading.value, reading.unit)
    stated = said(reading.value, reading.unit)
    shown = stated
    if reading.quantity == "temperature":
        turned = converted(reading.quantity, reading.value, reading.unit, temperature)
        shown = said(turned, temperature) if turned is not None else stated
    range_ = wanted.at(reading.place_id, reading.quantity, timezone.localdate(reading.taken_at))
    return ReadingTold(reading, shown, stated, exact, outside(exact, reading.unit, range_))


def _standing() -> QuerySet[Reading]:
    """Readings that no other replaces."""
    return Reading.objects.filter(replaced_by=None)


def _with_those_above(places: Collection[int], parents: Mapping[int, int | None]) -> set[int]:
    found: set[int] = set()
    waiting = list(places)
    while waiting:
        place = waiting.pop()
        above = parents.get(place)
        if place not in found:
            found.add(place)
            if above is not None:
                waiting.append(above)
    return found


_RANK = {quantity.code: rank for rank, quantity in enumerate(QUANTITIES)}
