"""Reads what the replay of young deaths needs: the days of a few lots, never of all."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Hashable, Mapping
from datetime import timedelta, tzinfo

from inventory.book.queries.quantities import DatedFlow, flows_of_lots
from inventory.book.rules.happened import start_of_day
from inventory.names.models import Taxon

from ..rules.question import By, Question
from ..rules.young import YOUNG_DAYS, Bounds
from ..rules.young_rows import DayFlow, Herds, age_at_entry, linked_lots, lots_to_replay, young_deaths_by_row
from .reading import Moments, Reading


def young_deaths(
    question: Question,
    moments: Moments,
    reading: Reading,
    row_of_cell: Mapping[int, Hashable | None],
    zone: tzinfo,
) -> dict[Hashable, Bounds]:
    """Least and most deaths within 30 days of birth by row. At most two queries."""
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
        flows=_by_day(flows, question, zone),
        start=_balances_before(reading, lots),
        herds=Herds(
            {key: cell for key, cell in cells.items() if cell.lot_id in lots}, row_of_cell, group, ages
        ),
        first_day=question.first_day.toordinal(),
        rows_are_places=question.by is By.PLACE,
    )


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


def _balances_before(reading: Reading, lots: set[int]) -> dict[int, int]:
    """Balances 30 days before the period: the opening, taken back by what has come since."""
    cells = reading.cells
    before = Counter({key: n for key, n in reading.opening.items() if cells[key].lot_id in lots})
    for pairs, sign in ((reading.late, 1), (reading.earlier, -1)):
        for pair in pairs:
            before[pair.to_cell] += sign * pair.n
            before[pair.from_cell] -= sign * pair.n
    return {key: n for key, n in before.items() if not cells[key].cause and cells[key].lot_id in lots}
