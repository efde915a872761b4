"""What the arithmetic needs from the book, in a constant number of queries."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import NamedTuple

from inventory.book.models import Lot, Place
from inventory.book.queries.names import PrintedNames
from inventory.book.queries.quantities import (
    Pair,
    cell_balances,
    cell_balances_from_now,
    cell_ends,
    late_flows,
    pair_flows,
    source_labels,
)
from inventory.book.queries.quantities.stock import NO_SOURCE
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.happened import end_of_day, start_of_day
from inventory.book.rules.kinds import EventKind

from ..rules.question import By, Question
from ..rules.young import YOUNG_DAYS
from .closings import Knowledge

# The outside account of stock that was there when the book began.
OPENING = EventKind.OPENING.value
# What stands for the house itself among the owners.
THE_HOUSE = "the house"


class RowKey(NamedTuple):
    """Which row: the place or lot by number, the source or owner by label ("" by taxon); taxon; unit."""

    group: int | str
    taxon_id: int
    unit: str


@dataclass(frozen=True, slots=True)
class Moments:
    """The half-open moments of a period, and the knowledge at its two ends."""

    start: datetime
    end: datetime
    young_since: datetime
    opening: Knowledge
    closing: Knowledge


def moments_of(question: Question, known: tuple[Knowledge, Knowledge], zone: tzinfo) -> Moments:
    """Days of the house as moments."""
    return Moments(
        start=start_of_day(question.first_day, zone),
        end=end_of_day(question.last_day, zone),
        young_since=start_of_day(question.first_day - timedelta(days=YOUNG_DAYS), zone),
        opening=known[0],
        closing=known[1],
    )


@dataclass(frozen=True, slots=True)
class Reading:
    """Balances by cell at both ends, and flows by pair: in the period, late, and in the 30 days
    before it (whose young may die inside)."""

    opening: dict[int, int]
    closing: dict[int, int]
    flows: list[Pair]
    late: list[Pair]
    earlier: list[Pair]
    cells: dict[int, CellEnd]

    def opened(self) -> Iterator[tuple[int, int]]:
        """What the report's opening holds by cell: stock loaded inside the period belongs to it."""
        yield from self.opening.items()
        for a, b, n in self.flows:
            if self.cells[a].cause == OPENING:
                yield b, n
            elif self.cells[b].cause == OPENING:
                yield a, -n


def read_book(moments: Moments) -> Reading:
    """Six sums out of the ledger and one look at their cells.

    The opening comes from the flows or a snapshot, the closing from the book's other end, so that a
    report that ties also proves the snapshot and the cached balances.
    """
    known_at = moments.closing.at
    opening = cell_balances(before=moments.start, known_at=moments.opening.at)
    closing = cell_balances_from_now(before=moments.end, known_at=known_at)
    flows = pair_flows(since=moments.start, before=moments.end, known_at=known_at)
    earlier = pair_flows(since=moments.young_since, before=moments.start, known_at=known_at)
    late = late_flows(before=moments.start, known_from=moments.opening.at, known_until=known_at)
    named = {*opening, *closing}
    for pairs in (flows, earlier, late):
        named.update(pair.from_cell for pair in pairs)
        named.update(pair.to_cell for pair in pairs)
    return Reading(opening, closing, flows, late, earlier, cell_ends(named))


def row_function(question: Question, names: PrintedNames | None = None) -> Callable[[CellEnd], RowKey]:
    """The row of an inside cell, under the names to print. Asks for the sources when rows are sources.

    The label of a source is what is known now of a lot's whole life, so that one lot stands in one
    row in every period.
    """
    group = _group_function(question)
    if names is None:
        return lambda cell: RowKey(group(cell), cell.taxon_id, cell.unit)
    taxon_of = names.taxon_of
    return lambda cell: RowKey(group(cell), taxon_of(cell.lot_id, cell.taxon_id), cell.unit)


def _group_function(question: Question) -> Callable[[CellEnd], int | str]:
    if question.by is By.PLACE:
        return lambda cell: cell.place_id or 0
    if question.by is By.LOT:
        return lambda cell: cell.lot_id
    if question.by is By.SOURCE:
        labels = source_labels(known_at=question.known_at)
        return lambda cell: labels.get(cell.lot_id, NO_SOURCE)
    if question.by is By.OWNER:
        return lambda cell: cell.owner or THE_HOUSE
    return lambda cell: ""


def group_labels(question: Question, keys: list[RowKey]) -> dict[int | str, str]:
    """What stands in the first column, by group. At most one query."""
    if question.by is By.PLACE:
        return dict(Place.objects.values_list("pk", "code"))
    if question.by is By.LOT:
        return dict(Lot.objects.values_list("pk", "accession"))
    return {key.group: str(key.group) for key in keys}


def group_label(by: By, group: str) -> str:
    """What stands in the first column for one group, given as an address has it."""
    if by in (By.SOURCE, By.OWNER) or not group.isdecimal():
        return group
    if by is By.PLACE:
        return Place.objects.filter(pk=group).values_list("code", flat=True).first() or group
    return Lot.objects.filter(pk=group).values_list("accession", flat=True).first() or group
