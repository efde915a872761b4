"""Reads what the replay of young deaths needs: the days of a few lots, never of all."""

from bisect import bisect_right
from collections.abc import Callable
from datetime import timedelta, tzinfo

import numpy as np

from inventory.book.queries.quantities import DatedFlow, flows_of_lots
from inventory.book.rules.columns import Numbers, Truths, sums
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.happened import start_of_day
from inventory.names.models import Taxon

from ..rules.arrays import RowColumns
from ..rules.question import Question
from ..rules.young import YOUNG_DAYS, Bounds
from ..rules.young_rows import DayFlow, Herds, age_at_entry, linked_lots, lots_to_replay, young_deaths_by_row
from .reading import Moments, Reading


class Replay:
    """The days of the lots in which young may have died; read once, replayed for every way to make rows."""

    def __init__(self, question: Question, moments: Moments, reading: Reading, zone: tzinfo) -> None:
        """At most two queries."""
        ends = reading.ends
        group, lots = _lots_to_replay(reading)
        self._first_day = question.first_day.toordinal()
        self._cells: dict[int, CellEnd] = {}
        if not lots:
            return
        among_them = np.isin(ends.lot, np.array(sorted(lots), dtype=np.int64))
        at = np.flatnonzero(among_them).astype(np.int64)
        number = dict(zip(ends.cell[at].tolist(), at.tolist(), strict=True))
        flows = flows_of_lots(
            lots, since=moments.young_since, before=moments.end, known_at=moments.closing.at
        )
        self._flows = [
            flow._replace(from_cell=number[flow.from_cell], to_cell=number[flow.to_cell])
            for flow in _by_day(flows, question, zone)
        ]
        self._cells = ends.ends(at)
        self._group = group
        self._start = _balances_before(reading, among_them)
        self._ages = {
            pk: age_at_entry(text)
            for pk, text in Taxon.objects.exclude(counts_in_from="").values_list("pk", "counts_in_from")
        }

    def young_deaths(self, rows: RowColumns, *, rows_are_places: bool) -> dict[int, Bounds]:
        """Least and most deaths within 30 days of birth by row."""
        if not self._cells:
            return {}
        row_of_cell = {cell: row for cell in self._cells if (row := int(rows.of_cell[cell])) >= 0}
        return young_deaths_by_row(
            flows=self._flows,
            start=self._start,
            herds=Herds(self._cells, row_of_cell, self._group, self._ages),
            first_day=self._first_day,
            rows_are_places=rows_are_places,
        )


def _lots_to_replay(reading: Reading) -> tuple[Callable[[int], int], set[int]]:
    """The groups of lots that gave animals to each other, and the lots of those groups that had both births
    and, in the period, deaths."""
    ends = reading.ends
    born, died = (ends.cause_called(cause) for cause in ("born", "died"))
    a, b = (np.concatenate([reading.flows[i], reading.earlier[i]]) for i in (0, 1))
    between = (ends.lot[a] != ends.lot[b]) & (ends.cause[a] == 0) & (ends.cause[b] == 0)
    linked = np.unique(np.stack([ends.lot[a[between]], ends.lot[b[between]]]), axis=1)
    cells = np.concatenate([a, b])
    deaths = reading.flows.from_cell[ends.cause[reading.flows.to_cell] == died]
    group = linked_lots(zip(*linked.tolist(), strict=True))
    return group, lots_to_replay(
        named=_lots(ends.lot[cells]),
        born=_lots(ends.lot[cells[ends.cause[cells] == born]]),
        died=_lots(ends.lot[deaths]),
        group=group,
    )


def _lots(lots: Numbers) -> set[int]:
    return set(np.unique(lots).tolist())


def _by_day(flows: list[DatedFlow], question: Question, zone: tzinfo) -> list[DayFlow]:
    """Moments as local days: looked up among the days' beginnings, which is faster than converting."""
    first = question.first_day - timedelta(days=YOUNG_DAYS)
    number = (question.last_day - first).days + 1
    begins = [start_of_day(first + timedelta(days=i), zone) for i in range(number)]
    before_first = first.toordinal() - 1
    return [
        DayFlow(before_first + bisect_right(begins, flow.effective_at), flow.from_cell, flow.to_cell, flow.n)
        for flow in flows
    ]


def _balances_before(reading: Reading, among_them: Truths) -> dict[int, int]:
    """Balances 30 days before the period: the opening, taken back by what has come since. Of inside cells
    that are ``among_them``."""
    size = len(reading.ends.cell)
    before = sums(reading.opening.cell, reading.opening.n, size)
    for flows, sign in ((reading.late, 1), (reading.earlier, -1)):
        before += sums(flows.to_cell, sign * flows.n, size) - sums(flows.from_cell, sign * flows.n, size)
    at = np.flatnonzero((before != 0) & among_them & reading.ends.inside)
    return dict(zip(at.tolist(), before[at].tolist(), strict=True))
