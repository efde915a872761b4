"""The arithmetic over whole columns says what the arithmetic a row at a time says."""

from collections import Counter
from collections.abc import Callable
from dataclasses import fields

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from census.change.queries.closings import knowledge
from census.change.queries.reading import moments_of, read_book
from census.change.rules.arithmetic import (
    Change,
    closing_by_row,
    population_change,
    rows_of_cells,
    steps,
    ties,
)
from census.change.rules.arrays import (
    ChangeColumns,
    change_columns,
    flows_by_sex,
    moves_of,
    nothing,
    order_of,
    ranks,
    row_columns,
    steps_of,
)
from census.change.rules.columns import FLOW_COLUMNS, NUMBER_COLUMNS
from census.change.rules.figures import SUMS
from census.change.rules.scopes import ScopeNumbers, scope_numbers
from census.change.rules.young import Bounds
from census.reports.queries.asking import amount
from inventory.book.queries.quantities import (
    Pair,
    cell_balances,
    cell_balances_from_now,
    cell_ends,
    late_flows,
    pair_flows,
)
from inventory.book.rules.columns import SEXES, Amounts, EndColumns, Flows, Numbers
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.scope import Scope
from tests.factories import make_event, make_period

from .sample import SECOND_QUARTER, THIRD_QUARTER, make_sample
from .test_arithmetic import Transition, lives


def _whole(values: list[int]) -> Numbers:
    return np.array(values, dtype=np.int64)


def _columns_of(cells: list[CellEnd]) -> EndColumns:
    """Cells as columns, with units, owners and causes in no special order."""
    units = tuple(sorted({cell.unit for cell in cells}, reverse=True))
    owners = ("", *sorted({cell.owner for cell in cells} - {""}))
    causes = ("", *sorted({cell.cause for cell in cells} - {""}))
    return EndColumns(
        cell=_whole([*range(len(cells))]),
        lot=_whole([cell.lot_id for cell in cells]),
        taxon=_whole([cell.taxon_id for cell in cells]),
        unit=_whole([units.index(cell.unit) for cell in cells]),
        owner=_whole([owners.index(cell.owner) for cell in cells]),
        place=_whole([cell.place_id or 0 for cell in cells]),
        off_site=np.array([cell.off_site for cell in cells], dtype=np.bool_),
        sex=_whole([SEXES.index(cell.sex) for cell in cells]),
        missing=np.array([cell.missing for cell in cells], dtype=np.bool_),
        cause=_whole([causes.index(cell.cause) for cell in cells]),
        units=units,
        owners=owners,
        causes=causes,
    )


GROUPS: dict[str, Callable[[CellEnd], int]] = {
    "taxon": lambda cell: 0,
    "place": lambda cell: cell.place_id or 0,
    "lot": lambda cell: cell.lot_id,
}


@given(
    transitions=lives(),
    by=st.sampled_from(sorted(GROUPS)),
    scope=st.sampled_from(Scope),
    wrong=st.integers(-1, 1),
    young=st.integers(0, 2),
)
def test_every_figure_of_every_row_is_that_of_the_plain_arithmetic(
    transitions: list[Transition], by: str, scope: Scope, wrong: int, young: int
) -> None:
    cells = list(dict.fromkeys(cell for t in transitions for cell in (t.a, t.b)))
    numbers = {cell: i for i, cell in enumerate(cells)}
    by_number = dict(enumerate(cells))
    opening: Counter[int] = Counter()
    closing: Counter[int] = Counter()
    flowed: dict[str, list[Pair]] = {"late": [], "inside": []}
    for t in transitions:
        a, b = numbers[t.a], numbers[t.b]
        for number, n in ((a, -1), (b, 1)):
            closing[number] += n * (not cells[number].cause)
            opening[number] += n * (not cells[number].cause and t.when == "before")
        if t.when != "before":
            flowed[t.when].append(Pair(b, a, -1) if t.back else Pair(a, b, 1))
    if cells:
        closing[0] += wrong * (not cells[0].cause)
    group = GROUPS[by]
    rows = rows_of_cells(by_number, lambda cell: (group(cell), cell.taxon_id, cell.unit), scope)
    changes = population_change(
        opening=opening,
        flows=flowed["inside"],
        late=flowed["late"],
        cells=by_number,
        rows=rows,
        scope=scope,
    )
    read = closing_by_row(closing, by_number, rows)
    ends = _columns_of(cells)
    of_cells = row_columns(ends, group=_whole([group(cell) for cell in cells]), taxon=ends.taxon, scope=scope)
    named = [
        (int(of_cells.group[row]), int(of_cells.taxon[row]), ends.units[int(of_cells.unit[row])])
        for row in range(len(of_cells))
    ]
    for cell, row in enumerate(of_cells.of_cell.tolist()):
        assert (named[row] if row >= 0 else None) == rows[cell]
    bounds = {row: Bounds(young, young + 1) for row in range(len(named)) if row % 2}
    for row in bounds:
        changes.setdefault(named[row], Change()).set_young_deaths(young)
    made = steps_of(_flows(flowed["inside"]), ends, of_cells, scope)
    found, tied = change_columns(
        opening=_amounts(opening),
        closing=_amounts(closing),
        late=_flows(flowed["late"]),
        flows=_flows(flowed["inside"]),
        steps=made,
        young=bounds,
        ends=ends,
        rows=of_cells,
    )
    by_sex = flows_by_sex(made, len(named))
    for row, key in enumerate(named):
        plain = changes.get(key, Change())
        assert found.change(row) == plain == found.at(_whole([row])).total()
        assert bool(tied[row]) == ties(plain, read.get(key))
        assert bool(found.empty[row]) == plain.empty
        assert found.young_most[row] == (bounds[row].most if row in bounds else 0)
        for name in (*NUMBER_COLUMNS, *SUMS):
            assert found.amount(name)[row] == amount(plain, name), name
        assert found.elsewhere[row] == sum(
            n for cell, n in closing.items() if rows[cell] == key and cells[cell].off_site
        )
        assert _by_sex(flowed["inside"], by_number, rows, scope, key) == {
            (FLOW_COLUMNS[column], SEXES[sex]): int(by_sex[column, sex, row])
            for column, sex, _ in np.argwhere(by_sex[:, :, row : row + 1]).tolist()
        }
    assert set(changes) <= set(named)
    assert scope_numbers(_amounts(closing), ends) == _scopes(closing, cells)
    if by == "place":
        assert moves_of(_flows(flowed["inside"]), ends, of_cells) == _moves(flowed["inside"], cells, scope)


def _amounts(held: Counter[int]) -> Amounts:
    return Amounts(_whole([*held]), _whole([*held.values()]))


def _flows(pairs: list[Pair]) -> Flows:
    return Flows(*(_whole([pair[i] for pair in pairs]) for i in range(3)))


def _by_sex(
    pairs: list[Pair],
    cells: dict[int, CellEnd],
    rows: dict[int, tuple[int, int, str] | None],
    scope: Scope,
    key: tuple[int, int, str],
) -> dict[tuple[str, str], int]:
    found: Counter[tuple[str, str]] = Counter()
    for a, b, n in pairs:
        for row, column, number in steps(cells[a], cells[b], n, rows=(rows[a], rows[b]), scope=scope):
            if row == key and column != "opening":
                found[column, cells[b if row == rows[b] else a].sex] += number
    return {where: n for where, n in found.items() if n}


def _scopes(held: Counter[int], cells: list[CellEnd]) -> dict[str, ScopeNumbers]:
    found: dict[str, ScopeNumbers] = {}
    for number, n in held.items():
        cell = cells[number]
        if not cell.cause:
            of_unit = found.setdefault(cell.unit, ScopeNumbers())
            name = (("ours_here", "lent_to_us"), ("elsewhere", "others_elsewhere"))[cell.off_site][
                bool(cell.owner)
            ]
            setattr(of_unit, name, getattr(of_unit, name) + n)
    return found


def _moves(pairs: list[Pair], cells: list[CellEnd], scope: Scope) -> dict[tuple[str, int, int], int]:
    found: Counter[tuple[str, int, int]] = Counter()
    for pair in pairs:
        a, b = cells[pair.from_cell], cells[pair.to_cell]
        if a.place_id is None or b.place_id is None or a.place_id == b.place_id or a.lot_id != b.lot_id:
            continue
        if all(scope.holds(off_site=end.off_site, owner=end.owner) for end in (a, b)):
            found[a.unit, a.place_id, b.place_id] += pair.n
    return {key: n for key, n in found.items() if n}


def test_rows_in_which_nothing_is_stand_behind_the_others() -> None:
    one = nothing(1)
    one = ChangeColumns(*(getattr(one, part.name) + 1 for part in fields(one)))
    both = one.with_nothing(2)
    assert len(both) == 3
    assert both.change(0) == one.change(0)
    assert both.empty.tolist() == [False, True, True]


@given(rows=st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3)), max_size=8))
def test_rows_stand_in_the_order_of_their_columns_and_else_as_they_were(rows: list[tuple[int, int]]) -> None:
    order = order_of([_whole([row[i] for row in rows]) for i in (0, 1)])
    assert order.tolist() == sorted(range(len(rows)), key=lambda i: rows[i])
    assert [ranks(rows)[i] for i in order] == sorted(ranks(rows).tolist())


@pytest.mark.django_db
@pytest.mark.parametrize("closed", [True, False])
@pytest.mark.parametrize("question", [SECOND_QUARTER, THIRD_QUARTER])
def test_whole_columns_are_read_as_balances_and_flows_are(closed: bool, question: object) -> None:
    sample = make_sample()
    wrong = make_event("found", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-09-20")
    make_event("reversed", reverses=wrong, happened="2026-09-20")
    if closed:
        sample.close(make_period(), "2026-10-01T12:00")
        sample.close(sample.second.period, "2026-10-03")
    zone = sample.book.zone
    moments = moments_of(question, knowledge(question), zone)  # type: ignore[arg-type]
    reading = read_book(moments)
    ends = reading.ends
    known_at = moments.closing.at
    assert _held(reading.opening, ends) == cell_balances(before=moments.start, known_at=moments.opening.at)
    assert _held(reading.closing, ends) == cell_balances_from_now(before=moments.end, known_at=known_at)
    for flows, pairs in (
        (reading.flows, pair_flows(since=moments.start, before=moments.end, known_at=known_at)),
        (reading.earlier, pair_flows(since=moments.young_since, before=moments.start, known_at=known_at)),
        (
            reading.late,
            late_flows(before=moments.start, known_from=moments.opening.at, known_until=known_at),
        ),
    ):
        found: Counter[tuple[int, int]] = Counter()
        for a, b, n in zip(*(column.tolist() for column in flows), strict=True):
            found[int(ends.cell[a]), int(ends.cell[b])] += n
        wanted: Counter[tuple[int, int]] = Counter()
        for pair in pairs:
            wanted[pair.from_cell, pair.to_cell] += pair.n
        assert found == wanted
    told = ends.ends(np.arange(len(ends.cell)))
    assert {int(ends.cell[i]): end for i, end in told.items()} == cell_ends(ends.cell.tolist())


def _held(amounts: Amounts, ends: EndColumns) -> dict[int, int]:
    held: Counter[int] = Counter()
    for at, n in zip(amounts.cell.tolist(), amounts.n.tolist(), strict=True):
        if not ends.cause[at]:
            held[int(ends.cell[at])] += n
    return {cell: n for cell, n in held.items() if n}
