"""The arithmetic of the population change: flows into columns, and rows that tie.

Pure: cells are numbers, rows any hashable keys. A pair of cells alone says the column
of a flow, because every way across the house's wall has an outside account of its own.
"""

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, field
from operator import mul
from typing import NamedTuple, Protocol, TypeVar, cast

from inventory.book.rules.ends import CellEnd as Cell
from inventory.book.rules.mfu import mfu
from inventory.book.rules.scope import Scope

from .columns import ARRIVAL_CAUSES, DEPARTURE_CAUSES, FLOW_COLUMNS, SIGNS

SEXES = ("male", "female", "hermaphrodite", "unknown")
# Copied for each row: a report makes a hundred thousand of them.
_NO_FLOWS = dict.fromkeys(FLOW_COLUMNS, 0)
_NONE_BY_SEX = dict.fromkeys(SEXES, 0)


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
    flows: dict[str, int] = field(default_factory=_NO_FLOWS.copy)
    opening_by_sex: dict[str, int] = field(default_factory=_NONE_BY_SEX.copy)
    closing_by_sex: dict[str, int] = field(default_factory=_NONE_BY_SEX.copy)

    @property
    def closing(self) -> int:
        """Opening + everything in - everything out + late."""
        signs = map(SIGNS.__getitem__, self.flows)
        return self.opening + self.late + int(sum(map(mul, signs, self.flows.values())))

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
                if n:
                    mine[key] += n


class Step(NamedTuple):
    """What one flow does to one row: ``n`` in ``column``, with that column's own sign."""

    row: Hashable
    column: str
    n: int


def rows_of_cells(
    cells: Mapping[int, Cell], row_of: Callable[[Cell], Row], scope: Scope
) -> dict[int, Row | None]:
    """The row of every cell, None for outside cells and cells out of the scope.

    ``row_of`` may look at a cell's lot and place only: all cells of a lot in a place are one row.
    """
    rows: dict[int, Row | None] = {}
    known: dict[tuple[int, int | None], Row | None] = {}
    for key, cell in cells.items():
        if cell.cause:
            rows[key] = None
            continue
        spot = (cell.lot_id, cell.place_id)
        if spot not in known:
            counts = scope.holds(off_site=cell.off_site, owner=cell.owner)
            known[spot] = row_of(cell) if counts else None
        rows[key] = known[spot]
    return rows


def steps(
    a: Cell, b: Cell, n: int, *, rows: tuple[Hashable | None, Hashable | None], scope: Scope
) -> tuple[Step, ...]:
    """The column that ``n`` animals from ``a`` to ``b`` fill in each of the two ``rows``.

    ``n`` is negative for what was taken back: it cancels in the column that it had filled. Nothing
    inside one row. From or to an outside account: that account's column, and minus for the
    opposite direction (a written-off animal seen again). Across the scope: a loan
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
    rows: Mapping[int, Row | None],
    scope: Scope,
) -> dict[Row, Change]:
    """One :class:`Change` a row.

    ``opening`` are balances by cell at the start, ``flows`` those dated in the period, ``late``
    those dated before it that the opening does not know yet. ``cells`` and ``rows`` (those of
    :func:`rows_of_cells`) hold every cell named.
    """
    changes: dict[Row, Change] = {}

    def hold(key: int, n: int) -> Change | None:
        """Adds to what a cell's row holds at the end; None for a cell that has no row."""
        row = rows[key]
        if row is None:
            return None
        change = changes.get(row)
        if change is None:
            change = changes[row] = Change()
        cell = cells[key]
        change.closing_by_sex[cell.sex] += n
        if cell.missing:
            change.missing += n
        return change

    # As hold() does, in one step: a hundred thousand cells have an opening, and few have flows.
    changes.update(closing_by_row(opening, cells, rows))

    for flow in flows:
        hold(flow.from_cell, -flow.n)
        hold(flow.to_cell, flow.n)
        ends = (rows[flow.from_cell], rows[flow.to_cell])
        a, b = cells[flow.from_cell], cells[flow.to_cell]
        for row, column, n in steps(a, b, flow.n, rows=ends, scope=scope):
            change = changes[cast(Row, row)]
            if column == "opening":
                change.opening += n
                change.opening_by_sex[(b if a.cause else a).sex] += n
            else:
                change.flows[column] += n

    for flow in late:
        for key, n in ((flow.from_cell, -flow.n), (flow.to_cell, flow.n)):
            held = hold(key, n)
            if held is not None:
                held.late += n
    return changes


def totals_by_unit(rows: Iterable[tuple[str, Change]]) -> dict[str, Change]:
    """Sums of rows by unit; units are never added together."""
    totals: dict[str, Change] = {}
    for unit, change in rows:
        totals.setdefault(unit, Change()).add(change)
    return dict(sorted(totals.items()))


def closing_by_row(
    balances: Mapping[int, int], cells: Mapping[int, Cell], rows: Mapping[int, Row | None]
) -> dict[Row, Change]:
    """What the reader says each row holds at the end, to be compared with the arithmetic."""
    found: dict[Row, Change] = {}
    for key, n in balances.items():
        row = rows[key]
        if row is None:
            continue
        change = found.get(row)
        if change is None:
            change = found[row] = Change()
        cell = cells[key]
        change.opening += n
        change.opening_by_sex[cell.sex] += n
        change.closing_by_sex[cell.sex] += n
        if cell.missing:
            change.missing += n
    return found


def ties(change: Change, read: Change | None) -> bool:
    """True when the arithmetic ends at what the reader found: in total, by sex and missing."""
    read = read or Change()
    return (
        change.closing == read.closing
        and change.closing_by_sex == read.closing_by_sex
        and change.missing == read.missing
    )
