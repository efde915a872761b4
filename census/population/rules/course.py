"""How numbers went, day by day: openings, flows by column, closings, animal-days.

Pure: cells are numbers. The columns are those of the population change, told by the same rule, so that
every figure here is one that the population change gives for the same days.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from census.change.rules.arithmetic import steps
from census.change.rules.columns import SIGNS
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.scope import Scope

from .rates import animal_days
from .spans import Span

DIED = "died"
BIRTHS = ("born", "divided", "settled")
ARRIVED = ("taken", "received", "loan_in", "back_from_loan")
LEFT = ("put_down", "released", "sent", "loan_out", "given_back")


class Key(NamedTuple):
    """A row; 0 where rows are not told apart by it."""

    taxon_id: int
    place_id: int


class DayFlow(NamedTuple):
    """``n`` animals from one cell to another on a day (``date.toordinal``); a reversal as it was booked."""

    day: int
    from_cell: int
    to_cell: int
    n: int
    reversal: bool


@dataclass(slots=True)
class RowCourse:
    """One row: what it held before the first day, and its flows by day and column."""

    opening: int = 0
    days: defaultdict[int, Counter[str]] = field(default_factory=lambda: defaultdict(Counter))

    def flows(self, span: Span) -> Counter[str]:
        """Sums of the span by column; what was taken back is taken off."""
        found: Counter[str] = Counter()
        first, last = span.first.toordinal(), span.last.toordinal()
        for day, columns in self.days.items():
            if first <= day <= last:
                found.update(columns)
        return found

    def opened(self, span: Span) -> int:
        """What the span begins with: stock that is loaded inside it belongs to it."""
        return self.before(span.first.toordinal()) + self.flows(span)["opening"]

    def closed(self, span: Span) -> int:
        return self.before(span.last.toordinal() + 1)

    def before(self, day: int) -> int:
        return self.opening + sum(_net(columns) for when, columns in self.days.items() if when < day)

    def animal_days(self, span: Span) -> float:
        """Of the span; what a day brings is there from its beginning, as the book counts it."""
        first, end = span.first.toordinal(), span.last.toordinal() + 1
        changes = [(float(day), _net(c)) for day, c in self.days.items() if first <= day < end]
        return animal_days(changes, start=first, end=end, opening=self.before(first))


def _net(columns: Mapping[str, int]) -> int:
    return sum(SIGNS.get(column, 1) * n for column, n in columns.items())


def course_of(
    flows: Iterable[DayFlow],
    *,
    opening: Mapping[int, int],
    ends: Mapping[int, CellEnd],
    rows: Mapping[int, Key | None],
    scope: Scope,
) -> dict[Key, RowCourse]:
    """The course of each row. ``rows`` says None for a cell that is outside or out of the scope."""
    found: defaultdict[Key, RowCourse] = defaultdict(RowCourse)
    for cell, n in opening.items():
        row = rows.get(cell)
        if row is not None:
            found[row].opening += n
    for flow in flows:
        a, b, n = flow.from_cell, flow.to_cell, flow.n
        if flow.reversal:
            a, b, n = b, a, -n
        for step in steps(ends[a], ends[b], n, rows=(rows[a], rows[b]), scope=scope):
            if isinstance(step.row, Key):
                found[step.row].days[flow.day][step.column] += step.n
    return dict(found)


def moves_between(
    flows: Iterable[DayFlow], *, ends: Mapping[int, CellEnd], rows: Mapping[int, Key | None]
) -> Counter[tuple[int, int]]:
    """Animals that went from one place to another, by the two places; also when their lot changed."""
    found: Counter[tuple[int, int]] = Counter()
    for flow in flows:
        a, b = (flow.to_cell, flow.from_cell) if flow.reversal else (flow.from_cell, flow.to_cell)
        here, there = ends[a].place_id, ends[b].place_id
        if rows[a] is not None and rows[b] is not None and here and there and here != there:
            found[here, there] += -flow.n if flow.reversal else flow.n
    return Counter({pair: n for pair, n in found.items() if n})


def added(courses: Iterable[RowCourse]) -> RowCourse:
    """Several rows as one; moves between them stay in both columns and cancel in the number."""
    whole = RowCourse()
    for one in courses:
        whole.opening += one.opening
        for day, columns in one.days.items():
            whole.days[day].update(columns)
    return whole
