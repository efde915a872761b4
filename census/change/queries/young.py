"""Reads what the replay of young deaths needs: the days of a few lots, never of all."""

from collections import Counter
from collections.abc import Callable, Hashable
from datetime import tzinfo

from inventory.book.queries.quantities import flows_of_lots
from inventory.book.rules.ends import CellEnd
from inventory.names.models import Taxon

from ..rules.arithmetic import row_in_scope
from ..rules.question import By, Question
from ..rules.young import Bounds
from ..rules.young_rows import DayFlow, Herds, age_at_entry, linked_lots, lots_to_replay, young_deaths_by_row
from .reading import Moments, Reading, RowKey


def young_deaths(
    question: Question,
    moments: Moments,
    reading: Reading,
    row_of: Callable[[CellEnd], RowKey],
    zone: tzinfo,
) -> dict[Hashable, Bounds]:
    """Least and most deaths within 30 days of birth by row. At most three queries."""
    cells = reading.cells
    pairs = [(cells[pair.from_cell], cells[pair.to_cell]) for pair in (*reading.flows, *reading.earlier)]
    died = {cells[pair.from_cell].lot_id for pair in reading.flows if cells[pair.to_cell].cause == "died"}
    group = linked_lots(pairs)
    lots = lots_to_replay(pairs, died, group)
    if not lots:
        return {}
    flows = flows_of_lots(lots, since=moments.young_since, before=moments.end, known_at=moments.closing.at)
    ages = {
        pk: age_at_entry(text)
        for pk, text in Taxon.objects.exclude(counts_in_from="").values_list("pk", "counts_in_from")
    }
    return young_deaths_by_row(
        flows=[
            DayFlow(flow.effective_at.astimezone(zone).toordinal(), flow.from_cell, flow.to_cell, flow.n)
            for flow in flows
        ],
        start=_balances_before(reading, lots),
        herds=Herds(
            cells=cells,
            row_of_cell={
                key: row_in_scope(cell, row_of, question.scope)
                for key, cell in cells.items()
                if cell.lot_id in lots
            },
            group=group,
            ages=ages,
        ),
        first_day=question.first_day.toordinal(),
        rows_are_places=question.by is By.PLACE,
    )


def _balances_before(reading: Reading, lots: set[int]) -> dict[int, int]:
    """Balances 30 days before the period: the opening, taken back by what has come since."""
    before = Counter(reading.opening)
    for pairs, sign in ((reading.late, 1), (reading.earlier, -1)):
        for pair in pairs:
            before[pair.to_cell] += sign * pair.n
            before[pair.from_cell] -= sign * pair.n
    cells: dict[int, CellEnd] = reading.cells
    return {key: n for key, n in before.items() if not cells[key].cause and cells[key].lot_id in lots}
