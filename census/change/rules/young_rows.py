"""Deaths of young by row: which lots are replayed, and how their bounds come together in rows.

A lot's days are replayed three ways, each of which is true: the whole lot, each of its holdings
(the lot in one place) alone, and all lots together that gave animals to each other. What comes from
outside the group that is replayed counts as older animals for the least; for the most the groups
are so wide that nothing young comes from outside.

* least of a row of places: the sum over holdings;
* least of any other row: of each lot the greater of the lot's own and the sum over its holdings;
* most of a row: of each wide group its most, but never more than the row's own deaths.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from inventory.book.rules.ends import CellEnd

from .young import YOUNG_DAYS, Bounds, LotDay, deaths_of_young

_DAY_OF_LIFE = re.compile(r"\bday\s+(\d+)", re.IGNORECASE)


def age_at_entry(counts_in_from: str) -> int:
    """Days of age at which a taxon's young enter the book: ``day 30`` is 30, else 0."""
    found = _DAY_OF_LIFE.search(counts_in_from)
    return int(found.group(1)) if found else 0


class DayFlow(NamedTuple):
    """``n`` animals from one cell to another on one local day (``date.toordinal``)."""

    day: int
    from_cell: int
    to_cell: int
    n: int


@dataclass(slots=True)
class _Days:
    """What one group of cells saw, by day, with reversals netted out."""

    start: int = 0
    born: defaultdict[int, Counter[int]] = field(default_factory=lambda: defaultdict(Counter))
    other_in: Counter[int] = field(default_factory=Counter)
    deaths: Counter[int] = field(default_factory=Counter)
    other_out: Counter[int] = field(default_factory=Counter)

    def bounds(self, first_day: int) -> Bounds:
        if not any(n > 0 for born in self.born.values() for n in born.values()):
            return Bounds()
        days = {*self.born, *self.other_in, *self.deaths, *self.other_out}
        return deaths_of_young(
            start=self.start, days=[self._lot_day(day) for day in days], first_day=first_day
        )

    def _lot_day(self, day: int) -> LotDay:
        born = self.born.get(day, Counter())
        # A number below zero is more taken back on this day than came: it runs the other way.
        return LotDay(
            day=day,
            born=[(last, n) for last, n in born.items() if n > 0],
            other_in=max(self.other_in[day], 0) + max(-self.deaths[day], 0) + max(-self.other_out[day], 0),
            deaths=max(self.deaths[day], 0),
            other_out=max(self.other_out[day], 0)
            + max(-self.other_in[day], 0)
            + sum(-n for n in born.values() if n < 0),
        )


def linked_lots(pairs: Iterable[tuple[CellEnd, CellEnd]]) -> Callable[[int], int]:
    """Lots that gave animals to each other, as a function from a lot to its group's first lot."""
    parent: dict[int, int] = {}

    def group(lot: int) -> int:
        while parent.get(lot, lot) != lot:
            lot = parent[lot]
        return lot

    for a, b in pairs:
        if not a.cause and not b.cause and a.lot_id != b.lot_id:
            first, second = sorted((group(a.lot_id), group(b.lot_id)))
            parent[second] = first
    return group


def lots_to_replay(
    pairs: Sequence[tuple[CellEnd, CellEnd]], deaths: Iterable[int], group: Callable[[int], int]
) -> set[int]:
    """Lots of every linked group that had both births (in ``pairs``) and ``deaths`` (lots)."""
    born = {group(end.lot_id) for pair in pairs for end in pair if end.cause == "born"}
    died = {group(lot) for lot in deaths}
    both = born & died
    named = {end.lot_id for pair in pairs for end in pair}
    return {lot for lot in named if group(lot) in both}


# A group of cells that is replayed together: a tag ("lot", "holding" or "wide") and its numbers.
_Name = tuple[str, int, int]


@dataclass(frozen=True, slots=True)
class Herds:
    """What the replay must know of the cells.

    ``row_of_cell`` has None for cells out of the scope; ``group`` is that of :func:`linked_lots`;
    ``ages`` are ages at entry by taxon, 0 when left out.
    """

    cells: Mapping[int, CellEnd]
    row_of_cell: Mapping[int, Hashable | None]
    group: Callable[[int], int]
    ages: Mapping[int, int]

    def names(self, key: int) -> tuple[_Name | None, _Name | None, _Name | None]:
        """The lot, the holding and the wide group that a cell is part of."""
        cell = self.cells[key]
        if cell.cause:
            return (None, None, None)
        wide = ("wide", self.group(cell.lot_id), 0)
        if self.row_of_cell.get(key) is None:
            return (None, None, wide)
        return (("lot", cell.lot_id, 0), ("holding", cell.lot_id, cell.place_id or 0), wide)

    def last_young_day(self, day: int, cell: CellEnd) -> int:
        """The last day on which what enters on ``day`` is young."""
        return day + YOUNG_DAYS - self.ages.get(cell.taxon_id, 0)


def young_deaths_by_row(
    *,
    flows: Iterable[DayFlow],
    start: Mapping[int, int],
    herds: Herds,
    first_day: int,
    rows_are_places: bool,
) -> dict[Hashable, Bounds]:
    """Bounds by row, for the lots whose flows are given.

    ``start`` are balances by cell before the first flow; deaths count from ``first_day`` on.
    """
    seen: defaultdict[_Name, _Days] = defaultdict(_Days)
    deaths: Counter[tuple[Hashable, int]] = Counter()
    dying: dict[tuple[int, int], Hashable] = {}
    for key, n in start.items():
        for name in herds.names(key):
            if name is not None:
                seen[name].start += n
    for flow in flows:
        a, b = herds.cells[flow.from_cell], herds.cells[flow.to_cell]
        for giver, taker in zip(herds.names(flow.from_cell), herds.names(flow.to_cell), strict=True):
            if giver != taker and taker is not None:
                _enters(seen[taker], a, flow, herds.last_young_day(flow.day, b))
            if giver != taker and giver is not None:
                _leaves(seen[giver], b, flow, herds.last_young_day(flow.day, a))
        for key, cause, sign in ((flow.from_cell, b.cause, 1), (flow.to_cell, a.cause, -1)):
            row, cell = herds.row_of_cell.get(key), herds.cells[key]
            if cause == "died" and row is not None and flow.day >= first_day:
                deaths[row, herds.group(cell.lot_id)] += sign * flow.n
                dying[cell.lot_id, cell.place_id or 0] = row
    bounds = {name: days.bounds(first_day) for name, days in seen.items()}
    least = _least_by_row(bounds, dying, rows_are_places)
    most: Counter[Hashable] = Counter()
    for (row, wide), n in deaths.items():
        most[row] += min(max(n, 0), bounds["wide", wide, 0].most)
    return {row: Bounds(least[row], most[row]) for row in {*least, *most}}


def _enters(days: _Days, a: CellEnd, flow: DayFlow, last_young_day: int) -> None:
    """A flow from ``a`` into the group."""
    if a.cause == "born":
        days.born[flow.day][last_young_day] += flow.n
    elif a.cause == "died":
        days.deaths[flow.day] -= flow.n
    else:
        days.other_in[flow.day] += flow.n


def _leaves(days: _Days, b: CellEnd, flow: DayFlow, last_young_day: int) -> None:
    """A flow out of the group to ``b``."""
    if b.cause == "born":
        days.born[flow.day][last_young_day] -= flow.n
    elif b.cause == "died":
        days.deaths[flow.day] += flow.n
    else:
        days.other_out[flow.day] += flow.n


def _least_by_row(
    bounds: Mapping[_Name, Bounds], dying: Mapping[tuple[int, int], Hashable], rows_are_places: bool
) -> Counter[Hashable]:
    """``dying`` are the holdings (lot, place) in which animals died, with their rows."""
    least: Counter[Hashable] = Counter()
    of_lot: Counter[int] = Counter()
    row_of_lot: dict[int, Hashable] = {}
    for (lot, place), row in dying.items():
        proved = bounds["holding", lot, place].least
        if rows_are_places:
            least[row] += proved
        else:
            of_lot[lot] += proved
            row_of_lot[lot] = row
    for lot, proved in of_lot.items():
        least[row_of_lot[lot]] += max(proved, bounds["lot", lot, 0].least)
    return least
