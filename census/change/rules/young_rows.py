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
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import accumulate
from math import inf
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


# Columns of a day in a group's days.
_OTHER_IN, _DEATHS, _OTHER_OUT = range(3)


@dataclass(slots=True)
class Days:
    """What one group of cells saw, by day, with reversals netted out."""

    start: int = 0
    born: dict[int, dict[int, int]] = field(default_factory=dict)
    others: dict[int, list[int]] = field(default_factory=dict)

    def add_born(self, day: int, last_young_day: int, n: int) -> None:
        of_day = self.born.setdefault(day, {})
        of_day[last_young_day] = of_day.get(last_young_day, 0) + n

    def add(self, day: int, column: int, n: int) -> None:
        of_day = self.others.get(day)
        if of_day is None:
            of_day = self.others[day] = [0, 0, 0]
        of_day[column] += n

    def bounds(self, first_day: int) -> Bounds:
        if not self._died_while_any_was_young(first_day):
            return Bounds()
        days = [self._lot_day(day) for day in {*self.born, *self.others}]
        return deaths_of_young(start=self.start, days=days, first_day=first_day)

    def _died_while_any_was_young(self, first_day: int) -> bool:
        """False where nothing born was still young on any day of a death that counts: nothing to replay."""
        dying = [day for day, of_day in self.others.items() if day >= first_day and of_day[_DEATHS] > 0]
        if not dying:
            return False
        births = sorted(
            (day, last) for day, of_day in self.born.items() for last, n in of_day.items() if n > 0
        )
        # The last day on which any of those born up to each birth is young.
        until = [*accumulate((last for _, last in births), max)]
        return any(until[at - 1] >= day for day in dying if (at := bisect_right(births, (day, inf))))

    def _lot_day(self, day: int) -> LotDay:
        born = list(self.born.get(day, {}).items())
        other_in, deaths, other_out = self.others.get(day, (0, 0, 0))
        # A number below zero is more taken back on this day than came: it runs the other way.
        return LotDay(
            day=day,
            born=[(last, n) for last, n in born if n > 0],
            other_in=max(other_in, 0) + max(-deaths, 0) + max(-other_out, 0),
            deaths=max(deaths, 0),
            other_out=max(other_out, 0) + max(-other_in, 0) + sum(-n for _, n in born if n < 0),
        )


# A group of cells that is replayed together: a tag ("lot", "holding" or "wide") and its numbers.
_Name = tuple[str, int, int]


class Herds:
    """The groups of cells that are replayed. Groups that hold the same cells are replayed once.

    ``counted`` are the inside cells in the scope; ``group`` is the first of the lots that each is
    linked with; ``ages`` are ages at entry by taxon, 0 when left out.
    """

    def __init__(
        self,
        cells: Mapping[int, CellEnd],
        counted: Collection[int],
        group: Mapping[int, int],
        ages: Mapping[int, int],
    ) -> None:
        self.cells, self.counted, self.group, self.ages = cells, counted, group, ages
        places: defaultdict[int, set[int | None]] = defaultdict(set)
        lots: defaultdict[int, set[int]] = defaultdict(set)
        for key, cell in cells.items():
            if not cell.cause:
                # None stands for all that is out of the scope.
                places[cell.lot_id].add(cell.place_id if key in counted else None)
                lots[group[cell.lot_id]].add(cell.lot_id)
        self._in_one_place = {lot for lot, where in places.items() if len(where) == 1 and None not in where}
        self._all_counted = {lot for lot, where in places.items() if None not in where}
        self._alone = {first for first, members in lots.items() if len(members) == 1}
        self._names = {key: self._of(key) for key, cell in cells.items() if not cell.cause}

    def holding(self, lot: int, place: int) -> _Name:
        """The lot in one place; the lot itself when it is in no other."""
        return ("lot", lot, 0) if lot in self._in_one_place else ("holding", lot, place)

    def wide(self, lot: int) -> _Name:
        """All lots that gave each other animals; the lot itself when it is alone and all counted."""
        first = self.group[lot]
        return ("lot", lot, 0) if first in self._alone and lot in self._all_counted else ("wide", first, 0)

    def names(self, key: int) -> tuple[_Name | None, _Name | None, _Name | None]:
        """The lot, the holding and the wide group of a cell, each group once."""
        return self._names.get(key, (None, None, None))

    def _of(self, key: int) -> tuple[_Name | None, _Name | None, _Name | None]:
        cell = self.cells[key]
        lot = ("lot", cell.lot_id, 0)
        wide = self.wide(cell.lot_id)
        if key not in self.counted:
            return (None, None, wide)
        holding = self.holding(cell.lot_id, cell.place_id or 0)
        return (lot, None if holding == lot else holding, None if wide == lot else wide)

    def last_young_day(self, day: int, cell: CellEnd) -> int:
        """The last day on which what enters on ``day`` is young."""
        return day + YOUNG_DAYS - self.ages.get(cell.taxon_id, 0)


@dataclass(frozen=True, slots=True)
class Replayed:
    """What a replay found, whatever the rows are: the bounds of every group, and the deaths of the period by
    the cell that they were in."""

    herds: Herds
    bounds: Mapping[_Name, Bounds]
    deaths: Mapping[int, int]

    def by_row(self, row_of_cell: Callable[[int], int], *, rows_are_places: bool) -> dict[int, Bounds]:
        """Bounds by row; ``row_of_cell`` is asked for cells in the scope."""
        deaths: Counter[tuple[int, _Name]] = Counter()
        dying: dict[tuple[int, int], int] = {}
        for key, n in self.deaths.items():
            row, cell = row_of_cell(key), self.herds.cells[key]
            deaths[row, self.herds.wide(cell.lot_id)] += n
            dying[cell.lot_id, cell.place_id or 0] = row
        least = _least_by_row(self.bounds, dying, self.herds, rows_are_places)
        most: Counter[int] = Counter()
        for (row, wide), n in deaths.items():
            most[row] += min(max(n, 0), self.bounds[wide].most)
        return {row: Bounds(least[row], most[row]) for row in {*least, *most}}


def replayed(*, flows: Iterable[DayFlow], start: Mapping[int, int], herds: Herds, first_day: int) -> Replayed:
    """The replay of the lots whose flows are given.

    ``start`` are balances by cell before the first flow; deaths count from ``first_day`` on.
    """
    seen: defaultdict[_Name, Days] = defaultdict(Days)
    deaths: Counter[int] = Counter()
    for key, n in start.items():
        for name in herds.names(key):
            if name is not None:
                seen[name].start += n
    for flow in flows:
        a, b = herds.cells[flow.from_cell], herds.cells[flow.to_cell]
        for giver, taker in zip(herds.names(flow.from_cell), herds.names(flow.to_cell), strict=True):
            if giver != taker:
                if taker is not None:
                    _enters(seen[taker], a, flow, herds.last_young_day(flow.day, b))
                if giver is not None:
                    _leaves(seen[giver], b, flow, herds.last_young_day(flow.day, a))
        if flow.day >= first_day and "died" in (a.cause, b.cause):
            key, n = (flow.from_cell, flow.n) if b.cause else (flow.to_cell, -flow.n)
            if key in herds.counted:
                deaths[key] += n
    return Replayed(herds, {name: days.bounds(first_day) for name, days in seen.items()}, deaths)


def _enters(days: Days, a: CellEnd, flow: DayFlow, last_young_day: int) -> None:
    """A flow from ``a`` into the group."""
    if a.cause == "born":
        days.add_born(flow.day, last_young_day, flow.n)
    elif a.cause == "died":
        days.add(flow.day, _DEATHS, -flow.n)
    else:
        days.add(flow.day, _OTHER_IN, flow.n)


def _leaves(days: Days, b: CellEnd, flow: DayFlow, last_young_day: int) -> None:
    """A flow out of the group to ``b``."""
    if b.cause == "born":
        days.add_born(flow.day, last_young_day, -flow.n)
    elif b.cause == "died":
        days.add(flow.day, _DEATHS, flow.n)
    else:
        days.add(flow.day, _OTHER_OUT, flow.n)


def _least_by_row(
    bounds: Mapping[_Name, Bounds],
    dying: Mapping[tuple[int, int], int],
    herds: Herds,
    rows_are_places: bool,
) -> Counter[int]:
    """``dying`` are the holdings (lot, place) in which animals died, with their rows."""
    least: Counter[int] = Counter()
    of_lot: Counter[int] = Counter()
    row_of_lot: dict[int, int] = {}
    for (lot, place), row in dying.items():
        proved = bounds[herds.holding(lot, place)].least
        if rows_are_places:
            least[row] += proved
        else:
            of_lot[lot] += proved
            row_of_lot[lot] = row
    for lot, proved in of_lot.items():
        least[row_of_lot[lot]] += max(proved, bounds["lot", lot, 0].least)
    return least
