"""The population change of a few lots, out of their own flows: what a page about one taxon needs.

The same arithmetic as the report of the whole house, which would read a hundred thousand cells for it.
"""

from collections import Counter
from collections.abc import Collection, Iterable
from datetime import tzinfo

from inventory.book.queries.quantities import DatedFlow, Pair, cell_ends, flows_of_lots
from inventory.book.rules.ends import CellEnd

from ..rules.arithmetic import Change, closing_by_row, population_change, rows_of_cells, ties
from ..rules.question import Question
from .closings import knowledge
from .reading import Moments, RowKey, moments_of, row_function


def changes_of_lots(
    question: Question, lots: Collection[int], *, zone: tzinfo
) -> dict[RowKey, tuple[Change, bool]]:
    """The change of every row of these lots, and whether it ends at what their flows come to.

    ``died`` holds the deaths of all ages. Rows of other lots, with which these exchanged animals, are left
    out. Six queries, three more by source.
    """
    moments = moments_of(question, knowledge(question), zone)
    before = flows_of_lots(lots, before=moments.start, known_at=moments.opening.at)
    period = flows_of_lots(lots, since=moments.start, before=moments.end, known_at=moments.closing.at)
    until = flows_of_lots(lots, before=moments.end, known_at=moments.closing.at)
    late, sign = late_flows_of_lots(lots, moments)
    every = (*before, *period, *until, *late)
    cells = cell_ends({cell for flow in every for cell in (flow.from_cell, flow.to_cell)})
    rows = rows_of_cells(cells, row_function(question, lots=_lots(cells)), question.scope)
    changes = population_change(
        opening=_balances(before, cells, lots),
        flows=[
            Pair(one.to_cell, one.from_cell, -one.n)
            if one.reversal
            else Pair(one.from_cell, one.to_cell, one.n)
            for one in period
        ],
        late=[Pair(one.from_cell, one.to_cell, sign * one.n) for one in late],
        cells=cells,
        rows=rows,
        scope=question.scope,
    )
    read = closing_by_row(_balances(until, cells, lots), cells, rows)
    mine = {row for key, row in rows.items() if row is not None and cells[key].lot_id in lots}
    for row in mine:
        changes.setdefault(row, Change())
    return {
        row: (change, ties(change, read.get(row)))
        for row, change in changes.items()
        if row in mine and not change.empty
    }


def _lots(cells: dict[int, CellEnd]) -> set[int]:
    return {cell.lot_id for cell in cells.values() if not cell.cause}


def late_flows_of_lots(lots: Collection[int], moments: Moments) -> tuple[list[DatedFlow], int]:
    """What one knowledge has more than the other of what lies before the period, and its sign."""
    at_start, at_end = moments.opening.at, moments.closing.at
    if at_start == at_end:
        return [], 1
    if at_start is not None and (at_end is None or at_start < at_end):
        return flows_of_lots(lots, before=moments.start, known_at=at_end, known_after=at_start), 1
    return flows_of_lots(lots, before=moments.start, known_at=at_start, known_after=at_end), -1


def _balances(flows: Iterable[DatedFlow], cells: dict[int, CellEnd], lots: Collection[int]) -> dict[int, int]:
    """Animals by inside cell of these lots."""
    found: Counter[int] = Counter()
    for flow in flows:
        found[flow.to_cell] += flow.n
        found[flow.from_cell] -= flow.n
    return {key: n for key, n in found.items() if n and not cells[key].cause and cells[key].lot_id in lots}
