"""Which lines the sheets of a census have: what the book holds in the places that each sheet covers."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from inventory.book.models import Lot, LotKind, Place, PlaceKind
from inventory.names.models import Taxon

from ..models import Census, Line
from ..rules.words import CensusState, LineKind
from .holdings import Holding, class_of, lots_by_id

PRESENCE_ONLY = "D"


@dataclass(frozen=True, slots=True)
class Planned:
    """A line before it has a sheet and a number."""

    place: Place
    kind: LineKind
    taxon: Taxon
    unit: str
    count_class: str
    lots: tuple[Lot, ...]

    @property
    def joined_key(self) -> str:
        if not self.place.joined_set or self.kind is not LineKind.GROUP:
            return ""
        return f"{self.place.joined_set}/{self.taxon.pk}/{self.unit}"


def coverage(places: Sequence[Place]) -> list[list[Place]]:
    """The places of each sheet, its own first. Two listed places of one joined set share a sheet."""
    everywhere = list(Place.objects.exclude(kind=PlaceKind.FEED))
    children: dict[int | None, list[Place]] = defaultdict(list)
    joined: dict[str, list[Place]] = defaultdict(list)
    for place in everywhere:
        children[place.parent_id].append(place)
        if place.joined_set:
            joined[place.joined_set].append(place)
    listed = {place.pk for place in places}
    taken: set[int] = set()
    covered = []
    for place in places:
        if place.pk in taken:
            continue
        group: list[Place] = []
        waiting = [place]
        while waiting:
            one = waiting.pop(0)
            if one.pk in taken:
                continue
            taken.add(one.pk)
            group.append(one)
            waiting += joined[one.joined_set] if one.joined_set else []
            waiting += [child for child in children[one.pk] if child.pk not in listed]
        covered.append(group)
    return covered


def planned_lines(found: Iterable[Holding], places: Sequence[Place]) -> list[Planned]:
    by_id = {place.pk: place for place in places}
    here = [holding for holding in found if holding.place_id in by_id]
    lots = lots_by_id(holding.lot_id for holding in here)
    together: dict[tuple[int, int, str, str], list[Lot]] = defaultdict(list)
    planned = []
    for holding in here:
        lot, place = lots[holding.lot_id], by_id[holding.place_id]
        if lot.kind == LotKind.INDIVIDUAL:
            together[place.pk, lot.taxon_id, lot.unit, class_of(lot)].append(lot)
            continue
        count_class = class_of(lot)
        kind = LineKind.PRESENCE if count_class == PRESENCE_ONLY else LineKind.GROUP
        planned.append(Planned(place, _by_place(place, kind), lot.taxon, lot.unit, count_class, (lot,)))
    for (place_id, _, unit, count_class), individuals in together.items():
        place = by_id[place_id]
        individuals.sort(key=lambda lot: (lot.house_name, lot.accession))
        planned.append(
            Planned(
                place,
                _by_place(place, LineKind.INDIVIDUALS),
                individuals[0].taxon,
                unit,
                count_class,
                tuple(individuals),
            )
        )
    return planned


def _by_place(place: Place, kind: LineKind) -> LineKind:
    """What others hold for us is told by letter, whatever it is."""
    return LineKind.LETTER if place.off_site else kind


def presence_of_before(census: Census, places: Sequence[Place], planned: Sequence[Planned]) -> list[Planned]:
    """The presence lines of the newest earlier census in the same places."""
    before = Census.objects.filter(cutoff__lt=census.cutoff).exclude(state=CensusState.ABANDONED).first()
    if before is None:
        return []
    there = {(line.place.pk, line.taxon.pk) for line in planned if line.kind is LineKind.PRESENCE}
    lines = (
        Line.objects.filter(sheet__census=before, count_class=PRESENCE_ONLY, taxon__isnull=False)
        .filter(place__in=places)
        .select_related("place", "taxon")
    )
    found = {(line.place_id, line.taxon_id): line for line in lines}
    return [
        Planned(line.place, LineKind.PRESENCE, line.taxon, line.unit, PRESENCE_ONLY, ())
        for key, line in found.items()
        if key not in there and line.taxon is not None
    ]


def list_order(plan: Planned) -> tuple[bool, str, str, str, str]:
    lot = plan.lots[0].accession if plan.lots else ""
    return (
        plan.kind is LineKind.PRESENCE,
        plan.taxon.scientific_name,
        plan.unit,
        plan.place.code,
        lot,
    )
