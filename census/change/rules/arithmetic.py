"""The arithmetic of the population change: flows into columns, and rows that tie.

Pure: cells are numbers, rows any hashable keys. A pair of cells alone says the column
of a flow, because every way across the house's wall has an outside account of its own.
"""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol, TypeVar, cast

from inventory.book.rules.ends import CellEnd as Cell
from inventory.book.rules.mfu import mfu
from inventory.book.rules.scope import Scope

from .columns import ARRIVAL_CAUSES, DEPARTURE_CAUSES, FLOW_COLUMNS, SIGNS

SEXES = ("male", "female", "hermaphrodite", "unknown")


class PairFlow(Protocol):
    """``n`` animals from one cell to another; negative when a sum was taken the other way."""

    @property
    def from_cell(self) -> int: ...
    @property
    def to_cell(self) -> int: ...
    @property
    def n(self) -> int: ...


Row = TypeVar("Row", bound=Hashable)


@dataclass(slots=True)
class Change:
    """The population change of one row."""

    opening: int = 0
    late: int = 0
    missing: int = 0
    flows: dict[str, int] = field(default_factory=lambda: dict.fromkeys(FLOW_COLUMNS, 0))
    opening_by_sex: dict[str, int] = field(default_factory=lambda: dict.fromkeys(SEXES, 0))
    closing_by_sex: dict[str, int] = field(default_factory=lambda: dict.fromkeys(SEXES, 0))

    @property
    def closing(self) -> int:
        """Opening + everything in - everything out + late."""
        return self.opening + self.late + sum(SIGNS[column] * n for column, n in self.flows.items())

    @property
    def opening_mfu(self) -> str:
        return mfu(*self.opening_by_sex.values())

    @property
    def closing_mfu(self) -> str:
        return mfu(*self.closing_by_sex.values())

    @property
    def empty(self) -> bool:
        """Nothing at the start, nothing happened, nothing at the end."""
        return not (
            self.opening
            or self.late
            or self.missing
            or any(self.flows.values())
            or any(self.opening_by_sex.values())
            or any(self.closing_by_sex.values())
        )

    def set_young_deaths(self, least: int) -> None:
        """Takes ``least`` of the deaths out of ``died`` into ``died_within_30_days``."""
        self.flows["died"] += self.flows["died_within_30_days"] - least
        self.flows["died_within_30_days"] = least

    def add(self, other: "Change") -> None:
        """Adds another row of the same unit; for totals."""
        self.opening += other.opening
        self.late += other.late
        self.missing += other.missing
        for mine, theirs in (
            (self.flows, other.flows),
            (self.opening_by_sex, other.opening_by_sex),
            (self.closing_by_sex, other.closing_by_sex),
        ):
            for key, n in theirs.items():
                mine[key] += n


class Step(NamedTuple):
    """What one flow does to one row: ``n`` in ``column``, with that column's own sign."""

    row: Hashable
    column: str
    n: int


def row_in_scope(cell: Cell, row_of: Callable[[Cell], Row], scope: Scope) -> Row | None:
    """The row of a cell, None for outside cells and cells out of the scope."""
    if cell.cause or not scope.holds(off_site=cell.off_site, owner=cell.owner):
        return None
    return row_of(cell)


def steps(
    a: Cell, b: Cell, n: int, *, rows: tuple[Hashable | None, Hashable | None], scope: Scope
) -> tuple[Step, ...]:
    """The column that ``n`` animals from ``a`` to ``b`` fill in each of the two ``rows``.

    Nothing inside one row. From or to an outside account: that account's column, and minus for the
    opposite direction (a reversal, or a written-off animal seen again). Across the scope: a loan
    when the place is held by others, else the lot changed hands and is regrouped. Between two rows:
    regrouped when the lot differs, moved when only the place does.
    """
    row_a, row_b = rows
    if row_a == row_b:
        return ()
    if a.cause:
        return (Step(row_b, a.cause, n if a.cause in ARRIVAL_CAUSES else -n),)
    if b.cause:
        return (Step(row_a, b.cause, n if b.cause in DEPARTURE_CAUSES else -n),)
    if row_b is None:
        return (Step(row_a, "loan_out" if scope is Scope.HERE else "regrouped_out", n),)
    if row_a is None:
        return (Step(row_b, "back_from_loan" if scope is Scope.HERE else "regrouped_in", n),)
    kind = "moved" if a.lot_id == b.lot_id else "regrouped"
    return (Step(row_a, f"{kind}_out", n), Step(row_b, f"{kind}_in", n))


def population_change(
    *,
    opening: Mapping[int, int],
    flows: Iterable[PairFlow],
    late: Iterable[PairFlow],
    cells: Mapping[int, Cell],
    row_of: Callable[[Cell], Row],
    scope: Scope,
) -> dict[Row, Change]:
    """One :class:`Change` a row.

    ``opening`` are balances by cell at the start, ``flows`` those dated in the period, ``late``
    those dated before it that the opening does not know yet. ``cells`` holds every cell named.
    """
    row_by_cell = {key: row_in_scope(cell, row_of, scope) for key, cell in cells.items()}
    changes: dict[Row, Change] = {}

    def change_of(row: Row) -> Change:
        found = changes.get(row)
        if found is None:
            found = changes[row] = Change()
        return found

    for key, n in opening.items():
        row = row_by_cell[key]
        if row is not None:
            change = change_of(row)
            change.opening += n
            change.opening_by_sex[cells[key].sex] += n
            _hold(change, cells[key], n)

    for flow in flows:
        from_cell, to_cell, n = flow.from_cell, flow.to_cell, flow.n
        a, b = cells[from_cell], cells[to_cell]
        row_a, row_b = row_by_cell[from_cell], row_by_cell[to_cell]
        if row_a is not None:
            _hold(change_of(row_a), a, -n)
        if row_b is not None:
            _hold(change_of(row_b), b, n)
        for step_row, column, signed in steps(a, b, n, rows=(row_a, row_b), scope=scope):
            change = changes[cast(Row, step_row)]
            if column == "opening":
                change.opening += signed
                change.opening_by_sex[(b if a.cause else a).sex] += signed
            else:
                change.flows[column] += signed

    for flow in late:
        from_cell, to_cell, n = flow.from_cell, flow.to_cell, flow.n
        row_a, row_b = row_by_cell[from_cell], row_by_cell[to_cell]
        if row_a is not None:
            change_of(row_a).late -= n
            _hold(change_of(row_a), cells[from_cell], -n)
        if row_b is not None:
            change_of(row_b).late += n
            _hold(change_of(row_b), cells[to_cell], n)
    return changes


def _hold(change: Change, cell: Cell, n: int) -> None:
    change.closing_by_sex[cell.sex] += n
    if cell.missing:
        change.missing += n


def totals_by_unit(rows: Iterable[tuple[str, Change]]) -> dict[str, Change]:
    """Sums of rows by unit; units are never added together."""
    totals: dict[str, Change] = {}
    for unit, change in rows:
        totals.setdefault(unit, Change()).add(change)
    return dict(sorted(totals.items()))


def closing_by_row(
    balances: Mapping[int, int], cells: Mapping[int, Cell], row_of: Callable[[Cell], Row], scope: Scope
) -> dict[Row, Change]:
    """What the reader says each row holds at the end, to be compared with the arithmetic."""
    return population_change(opening=balances, flows=(), late=(), cells=cells, row_of=row_of, scope=scope)


def ties(change: Change, read: Change | None) -> bool:
    """True when the arithmetic ends at what the reader found: in total, by sex and missing."""
    read = read or Change()
    return (
        change.closing == read.closing
        and change.closing_by_sex == read.closing_by_sex
        and change.missing == read.missing
    )
