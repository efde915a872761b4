"""What the book holds in places, as lists of lines are made from it and checked against it."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from inventory.book.models import Lot, LotKind
from inventory.book.queries.quantities import CellFact, cell_balances, cell_facts

from ..models import Census, Line, Sheet
from ..rules.states import SHEETS_REPLACED
from ..rules.words import MEASURED_UNITS


@dataclass(frozen=True, slots=True)
class Holding:
    """A lot in a place, with what the book holds of it there (missing ones included)."""

    lot_id: int
    accession: str
    place_id: int
    place_code: str
    unit: str
    total: int


def holdings(*, before: datetime, known_at: datetime | None = None) -> list[Holding]:
    """Every lot in every place before ``before``, as known at ``known_at`` (None: now); places with nothing
    left out."""
    balances = cell_balances(before=before, known_at=known_at)
    facts = cell_facts(cells=balances)
    totals: dict[tuple[int, int], int] = defaultdict(int)
    named: dict[tuple[int, int], CellFact] = {}
    for cell, n in balances.items():
        fact = facts[cell]
        totals[fact.lot_id, fact.place_id] += n
        named[fact.lot_id, fact.place_id] = fact
    return [
        Holding(
            lot_id=lot_id,
            accession=named[lot_id, place_id].accession,
            place_id=place_id,
            place_code=named[lot_id, place_id].place_code,
            unit=named[lot_id, place_id].unit,
            total=n,
        )
        for (lot_id, place_id), n in totals.items()
        if n
    ]


def class_of(lot: Lot) -> str:
    """The count class of a lot: the registrar's choice, else A for an individual, else the taxon's.

    Units other than animals and colonies (egg cases, egg masses) have no class.
    """
    if lot.unit not in MEASURED_UNITS:
        return ""
    if lot.count_class:
        return lot.count_class
    return "A" if lot.kind == LotKind.INDIVIDUAL else lot.taxon.count_class


def is_counted(count_class: str, classes: str) -> bool:
    """True when a census of these ``classes`` counts it; what has no class is counted always."""
    return not count_class or count_class in classes


def below_zero(found: Iterable[Holding]) -> list[Holding]:
    """What stands below zero."""
    return [holding for holding in found if holding.total < 0]


def on_no_line(census: Census, found: Iterable[Holding]) -> list[Holding]:
    """Lots that the book holds somewhere and that no line of the census counts there.

    With these the sums of the lines would not tie with the book at the cut-off. A census that was signed
    and is open again asks only for what the book holds otherwise than it was signed.
    """
    replaced = [state.value for state in SHEETS_REPLACED]
    covered = set(
        Line.objects.filter(sheet__census=census, lots__isnull=False)
        .exclude(sheet__state__in=replaced)
        .values_list("lots__id", "place_id")
    )
    uncovered = [holding for holding in found if (holding.lot_id, holding.place_id) not in covered]
    if uncovered and census.version is not None:
        signed = set(holdings(before=census.cutoff, known_at=census.version.closed_at))
        uncovered = [holding for holding in uncovered if holding not in signed]
    return of_classes(census, uncovered)


def of_classes(census: Census, found: Iterable[Holding]) -> list[Holding]:
    """Those of the classes that the census counts. No query where it counts all, else one."""
    chosen = list(found)
    if not census.left_out or not chosen:
        return chosen
    lots = lots_by_id(holding.lot_id for holding in chosen)
    return [one for one in chosen if is_counted(class_of(lots[one.lot_id]), census.classes)]


def newcomers(sheet: Sheet) -> list[Holding]:
    """Of a sheet's places, what the book holds at the cut-off and no line counts there."""
    places = {sheet.place_id, *sheet.lines.values_list("place", flat=True)}
    there = [one for one in holdings(before=sheet.census.cutoff) if one.place_id in places]
    return on_no_line(sheet.census, there)


def lots_by_id(ids: Iterable[int]) -> dict[int, Lot]:
    """Lots with their taxa."""
    return Lot.objects.select_related("taxon").in_bulk(list(set(ids)))
