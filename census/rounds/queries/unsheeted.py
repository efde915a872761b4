"""Places that a census should look into: those to be ticked when it is opened, those that have no sheet."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from inventory.book.models import Place, PlaceKind

from ..models import Census, Sheet
from ..rules.states import SHEETS_REPLACED
from .holdings import Holding, holdings, on_no_line


@dataclass(frozen=True, slots=True)
class Unsheeted:
    """A place that no sheet of a census covers, and how many lots the book has there."""

    place: Place
    lots: int


def places_to_count(*, now: datetime) -> list[int]:
    """Keys of the places that hold something now; what lies in one that holds something goes on its sheet."""
    holding = {one.place_id for one in holdings(before=now)}
    places = {place.pk: place for place in Place.objects.exclude(kind=PlaceKind.FEED)}
    return [pk for pk in places if pk in holding and not holding & set(_above(places[pk], places))]


def _above(place: Place, places: dict[int, Place]) -> Iterable[int]:
    above, passed = place.parent_id, {place.pk}
    while above in places and above not in passed:
        yield above
        passed.add(above)
        above = places[above].parent_id


def without_sheet(census: Census, found: Iterable[Holding]) -> dict[int, list[Holding]]:
    """Of what the book holds and no line counts: what is in places that no sheet covers, by place.

    One query, none where nothing was found.
    """
    chosen = list(found)
    if not chosen:
        return {}
    covered = places_covered(census)
    by_place: dict[int, list[Holding]] = {}
    for one in chosen:
        if one.place_id not in covered:
            by_place.setdefault(one.place_id, []).append(one)
    return by_place


def places_covered(census: Census) -> set[int]:
    """The places of the sheets of a census, and of their lines. One query."""
    replaced = [state.value for state in SHEETS_REPLACED]
    pairs = (
        Sheet.objects.filter(census=census)
        .exclude(state__in=replaced)
        .values_list("place_id", "lines__place_id")
    )
    return {pk for pair in pairs for pk in pair if pk is not None}


def unsheeted(census: Census) -> list[Unsheeted]:
    """The places that hold something at the cut-off and have no sheet, by code."""
    held = without_sheet(census, on_no_line(census, holdings(before=census.cutoff)))
    places = Place.objects.filter(pk__in=held).order_by("code") if held else []
    return [Unsheeted(place, len(held[place.pk])) for place in places]
