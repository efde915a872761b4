"""What the arithmetic needs from the book, in a constant number of queries."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import NamedTuple

import numpy as np

from inventory.book.models import Lot, Place
from inventory.book.queries.kept_columns import kept_ends, kept_periods
from inventory.book.queries.names import PrintedNames
from inventory.book.queries.quantities import source_labels
from inventory.book.queries.quantities.sql import rows
from inventory.book.queries.quantities.stock import NO_SOURCE
from inventory.book.rules.columns import Amounts, EndColumns, Flows, Numbers
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.happened import end_of_day, start_of_day
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.period_columns import PeriodColumns, Span, numbers_in

from ..rules.arrays import RowColumns, row_columns
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
    """Balances at both ends, and flows: in the period, late, and in the 30 days before it (whose young may
    die inside). Cells stand by their position in ``ends``."""

    opening: Amounts
    closing: Amounts
    flows: Flows
    late: Flows
    earlier: Flows
    ends: EndColumns

    def opened(self) -> Amounts:
        """What the report's opening holds: stock loaded inside the period belongs to it."""
        loaded = self.ends.cause_called(OPENING)
        a, b, n = self.flows
        came, went = self.ends.cause[a] == loaded, self.ends.cause[b] == loaded
        return Amounts(
            np.concatenate([self.opening.cell, b[came], a[went]]),
            np.concatenate([self.opening.n, n[came], -n[went]]),
        )


def read_book(moments: Moments) -> Reading:
    """Sums out of the ledger and one look at their cells. Eleven queries at most.

    The opening and the closing come from opposite ends of the book wherever that can be, so that a
    report that ties also proves the closings and the cached balances.
    """
    return read_books([moments])[0]


def read_books(moments: Sequence[Moments]) -> list[Reading]:
    """The same of several periods, each boundary and each cell read once. What was read before is brought up
    to date by what has been entered since."""
    found = kept_periods(
        [Span(one.young_since, one.start, one.end, one.opening.at, one.closing.at) for one in moments]
    )
    ends = kept_ends(numbers_in([cells for one in found for cells in one.named()]))
    return [_reading(one, ends) for one in found]


def _reading(found: PeriodColumns, ends: EndColumns) -> Reading:
    """Cells by their position instead of by their number, out of a table of all numbers."""
    position = np.zeros(int(ends.cell.max(initial=0)) + 1, dtype=np.int64)
    position[ends.cell] = np.arange(len(ends.cell))

    def held(amounts: Amounts) -> Amounts:
        return Amounts(position[amounts.cell], amounts.n)

    def flowed(flows: Flows) -> Flows:
        return Flows(position[flows.from_cell], position[flows.to_cell], flows.n)

    return Reading(
        opening=held(found.opening),
        closing=held(found.closing),
        flows=flowed(found.flows),
        late=flowed(found.late),
        earlier=flowed(found.earlier),
        ends=ends,
    )


def rows_of(
    question: Question, ends: EndColumns, names: PrintedNames | None
) -> tuple[RowColumns, Sequence[str] | None]:
    """The rows of all cells, and the words of their groups where those are no numbers.

    The same rows as those of :func:`row_function`.
    """
    taxon = ends.taxon
    if names is not None:
        lots, first, of_cell = np.unique(ends.lot, return_index=True, return_inverse=True)
        printed = [
            names.taxon_of(lot, taxon_id)
            for lot, taxon_id in zip(lots.tolist(), ends.taxon[first].tolist(), strict=True)
        ]
        taxon = np.array(printed, dtype=np.int64)[of_cell]
    group, words = _groups(question, ends)
    return row_columns(ends, group=group, taxon=taxon, scope=question.scope), words


def _groups(question: Question, ends: EndColumns) -> tuple[Numbers, Sequence[str] | None]:
    """The group of every cell."""
    if question.by is By.PLACE:
        return ends.place, None
    if question.by is By.LOT:
        return ends.lot, None
    if question.by is By.SOURCE:
        labels = source_labels(known_at=question.known_at)
        lots, of_cell = np.unique(ends.lot, return_inverse=True)
        words, codes = _coded(labels.get(lot, NO_SOURCE) for lot in lots.tolist())
        return codes[of_cell], words
    if question.by is By.OWNER:
        words, codes = _coded(owner or THE_HOUSE for owner in ends.owners)
        return codes[ends.owner], words
    return np.zeros(len(ends.cell), dtype=np.int64), ("",)


def _coded(words: Iterable[str]) -> tuple[Sequence[str], Numbers]:
    """Every word once, and the position of each in that."""
    told = list(words)
    code = {word: i for i, word in enumerate(dict.fromkeys(told))}
    return tuple(code), np.fromiter(map(code.__getitem__, told), np.int64, len(told))


def row_function(
    question: Question, names: PrintedNames | None = None, *, lots: Collection[int] | None = None
) -> Callable[[CellEnd], RowKey]:
    """The row of an inside cell, under the names to print. Asks for the sources when rows are sources, of
    ``lots`` alone where only their cells are asked for.

    The label of a source is what is known now of a lot's whole life, so that one lot stands in one
    row in every period.
    """
    group = _group_function(question, lots)
    if names is None:
        return lambda cell: RowKey(group(cell), cell.taxon_id, cell.unit)
    taxon_of = names.taxon_of
    return lambda cell: RowKey(group(cell), taxon_of(cell.lot_id, cell.taxon_id), cell.unit)


def _group_function(question: Question, lots: Collection[int] | None) -> Callable[[CellEnd], int | str]:
    if question.by is By.PLACE:
        return lambda cell: cell.place_id or 0
    if question.by is By.LOT:
        return lambda cell: cell.lot_id
    if question.by is By.SOURCE:
        labels = source_labels(known_at=question.known_at, lots=lots)
        return lambda cell: labels.get(cell.lot_id, NO_SOURCE)
    if question.by is By.OWNER:
        return lambda cell: cell.owner or THE_HOUSE
    return lambda cell: ""


def group_labels(question: Question, words: Sequence[str] | None) -> Mapping[int | str, str]:
    """What stands in the first column, by group: ``words`` are groups that stand for themselves. At most one
    query."""
    if words is not None:
        return {word: word for word in words}
    if question.by is By.PLACE:
        return dict(rows("SELECT id, code FROM book_place", []))
    return dict(rows("SELECT id, accession FROM book_lot", []))


def group_label(by: By, group: str) -> str:
    """What stands in the first column for one group, given as an address has it."""
    if by in (By.SOURCE, By.OWNER) or not group.isdecimal():
        return group
    if by is By.PLACE:
        return Place.objects.filter(pk=group).values_list("code", flat=True).first() or group
    return Lot.objects.filter(pk=group).values_list("accession", flat=True).first() or group
