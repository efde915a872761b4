"""Class A counted on the spot, month by month, outside of censuses."""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from inventory.book.models import Lot, LotKind, Place

from ..models import SpotCount
from ..rules.words import MEASURED_UNITS
from .holdings import holdings, lots_by_id

Key = tuple[int, int, str]


@dataclass(slots=True)
class Spot:
    """A class A taxon in a place: what is to be counted there. ``last``: its newest count on the spot."""

    place: Place
    lots: list[Lot]
    unit: str
    last: SpotCount | None = None
    due: bool = True
    marks: list[str] = field(default_factory=list)

    @property
    def key(self) -> Key:
        return self.place.pk, self.lots[0].taxon_id, self.unit

    @property
    def name(self) -> str:
        return self.lots[0].taxon.scientific_name


def spots(*, now: datetime, days: int, hidden: Collection[int] = ()) -> list[Spot]:
    """Every class A holding of the house, those that are due first. Six queries at most.

    ``days``: within so many each is counted; ``hidden`` places are being counted by the asker.
    """
    found = [held for held in holdings(before=now) if held.unit in MEASURED_UNITS]
    lots = lots_by_id(held.lot_id for held in found)
    by_id = Place.objects.in_bulk()
    together: dict[Key, Spot] = {}
    for held in found:
        lot = lots[held.lot_id]
        if not is_exact(lot) or held.place_id not in by_id or by_id[held.place_id].off_site:
            continue
        key = (held.place_id, lot.taxon_id, lot.unit)
        together.setdefault(key, Spot(by_id[held.place_id], [], lot.unit)).lots.append(lot)
    newest: dict[Key, SpotCount] = {}
    for one in SpotCount.objects.select_related("counter", "second").order_by("counted_at", "id"):
        newest[one.place_id, one.taxon_id, one.unit] = one
    for key, spot in together.items():
        spot.lots.sort(key=lambda lot: (lot.house_name, lot.accession))
        spot.marks = [lot.house_name or lot.marks for lot in spot.lots if lot.house_name or lot.marks]
        spot.last = newest.get(key)
        spot.due = spot.last is None or now - spot.last.counted_at >= timedelta(days=days)
    return sorted(
        (spot for spot in together.values() if spot.place.pk not in hidden),
        key=lambda spot: (not spot.due, spot.place.code, spot.name),
    )


def share_counted(found: Collection[Spot]) -> float | None:
    """Class A lines counted in time, in per cent; the aim is all of them."""
    return round(100 * sum(not spot.due for spot in found) / len(found), 1) if found else None


def is_exact(lot: Lot) -> bool:
    """Class A: the registrar's choice, an individual, or the taxon's class."""
    if lot.count_class:
        return lot.count_class == "A"
    return lot.kind == LotKind.INDIVIDUAL or lot.taxon.count_class == "A"


def differing(*, now: datetime, days: int) -> list[SpotCount]:
    """Counts on the spot of the last so many days that were not what the book had. One query."""
    since = now - timedelta(days=days)
    counts = SpotCount.objects.filter(counted_at__gte=since).select_related("place", "taxon", "counter")
    return [one for one in counts if one.value != one.book]
