"""The arithmetic of the population change over whole columns: for all rows at once.

:mod:`.arithmetic` is the definition, a row and a flow at a time; tests hold this module to it, figure by
figure. A report of seventy thousand rows is made here and shows two hundred of them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from inventory.book.rules.columns import Amounts, EndColumns, Flows, Numbers, Truths, sums
from inventory.book.rules.scope import Scope

from .arithmetic import SEXES, Change
from .columns import ARRIVAL_CAUSES, DEPARTURE_CAUSES, FLOW_COLUMNS, SIGNS
from .figures import SUMS
from .young import Bounds

_COLUMN = {name: i for i, name in enumerate(FLOW_COLUMNS)}
# Of stock that was there when the book began: no column of flows.
_OPENING = -1
_SIGNS = np.array([SIGNS[name] for name in FLOW_COLUMNS], dtype=np.int64)


@dataclass(frozen=True, slots=True)
class RowColumns:
    """Which rows there are, and the row of every cell: -1 outside and out of the scope.

    A row is its group (a place or a lot by its number, a source or an owner by its position in a list of
    words, 0 by taxon), its taxon and its unit.
    """

    of_cell: Numbers
    group: Numbers
    taxon: Numbers
    unit: Numbers

    def __len__(self) -> int:
        return len(self.group)


def counted(ends: EndColumns, scope: Scope) -> Truths:
    """The inside cells whose animals a scope counts."""
    holds = np.array(
        [[scope.holds(off_site=away, owner=owner) for owner in ends.owners] for away in (False, True)]
    )
    found: Truths = ends.inside & holds.ravel()[ends.off_site * len(ends.owners) + ends.owner]
    return found


def row_columns(ends: EndColumns, *, group: Numbers, taxon: Numbers, scope: Scope) -> RowColumns:
    """The rows of cells: ``group`` and ``taxon`` are told for every cell."""
    inside = np.flatnonzero(counted(ends, scope))
    keys = np.zeros(len(inside), dtype=np.int64)
    for column in (group, taxon, ends.unit):
        values, codes = np.unique(column[inside], return_inverse=True)
        keys = keys * (len(values) + 1) + codes
    _, first, rows = np.unique(keys, return_index=True, return_inverse=True)
    of_cell = np.full(len(ends.cell), -1, dtype=np.int64)
    of_cell[inside] = rows
    one = inside[first]
    return RowColumns(of_cell, group[one], taxon[one], ends.unit[one])


class Steps(NamedTuple):
    """What flows do to rows: ``n`` in ``column`` (a position in FLOW_COLUMNS), with that column's own sign.
    ``sex`` is that of the end that is in the row."""

    row: Numbers
    column: Numbers
    n: Numbers
    sex: Numbers


def steps_of(flows: Flows, ends: EndColumns, rows: RowColumns, scope: Scope) -> Steps:
    """The same as :func:`.arithmetic.steps` of every flow."""
    row_a, row_b = rows.of_cell[flows.from_cell], rows.of_cell[flows.to_cell]
    moved = row_a != row_b
    row_a, row_b = row_a[moved], row_b[moved]
    a, b, n = flows.from_cell[moved], flows.to_cell[moved], flows.n[moved]
    from_cause, to_cause = ends.cause[a], ends.cause[b]
    column_of = np.array([_COLUMN.get(cause, _OPENING) for cause in ends.causes], dtype=np.int64)
    arrives = np.array([cause in ARRIVAL_CAUSES for cause in ends.causes])
    leaves = np.array([cause in DEPARTURE_CAUSES for cause in ends.causes])
    between = (from_cause == 0) & (to_cause == 0)
    same_lot = ends.lot[a] == ends.lot[b]
    here = scope is Scope.HERE
    out = np.where(
        row_b < 0,
        _COLUMN["loan_out" if here else "regrouped_out"],
        np.where(same_lot, _COLUMN["moved_out"], _COLUMN["regrouped_out"]),
    )
    into = np.where(
        row_a < 0,
        _COLUMN["back_from_loan" if here else "regrouped_in"],
        np.where(same_lot, _COLUMN["moved_in"], _COLUMN["regrouped_in"]),
    )
    parts = [
        # (which flows, their rows, their columns, their numbers, the cell that is in the row)
        (from_cause > 0, row_b, column_of[from_cause], np.where(arrives[from_cause], n, -n), b),
        (
            (from_cause == 0) & (to_cause > 0),
            row_a,
            column_of[to_cause],
            np.where(leaves[to_cause], n, -n),
            a,
        ),
        (between & (row_a >= 0), row_a, out, n, a),
        (between & (row_b >= 0), row_b, into, n, b),
    ]
    row, column, number, cell = (np.concatenate([part[i][part[0]] for part in parts]) for i in range(1, 5))
    return Steps(row, column, number, ends.sex[cell])


@dataclass(frozen=True)
class ChangeColumns:
    """The change of every row: ``flows`` by column and row, the two ends by sex and row.

    ``young_most`` is the most deaths that may have been within 30 days of birth. ``elsewhere``: of the
    closing as it was read, what is in the hands of others.
    """

    opening: Numbers
    late: Numbers
    missing: Numbers
    flows: Numbers
    opening_by_sex: Numbers
    closing_by_sex: Numbers
    young_most: Numbers
    elsewhere: Numbers

    def __len__(self) -> int:
        return len(self.opening)

    @cached_property
    def closing(self) -> Numbers:
        """Opening + everything in - everything out + late."""
        found: Numbers = self.opening + self.late + _SIGNS @ self.flows
        return found

    def amount(self, figure: str) -> Numbers:
        """A column of whole numbers, or one of the sums of the short form."""
        if figure in _COLUMN:
            of_column: Numbers = self.flows[_COLUMN[figure]]
            return of_column
        if figure in SUMS:
            found = np.zeros(len(self), dtype=np.int64)
            for name, sign in SUMS[figure].items():
                found += sign * self.flows[_COLUMN[name]]
            return found
        column: Numbers = getattr(self, figure)
        return column

    def at(self, which: Numbers | slice) -> "ChangeColumns":
        """Some rows, in the order in which they are asked for."""
        return ChangeColumns(
            self.opening[which],
            self.late[which],
            self.missing[which],
            self.flows[:, which],
            self.opening_by_sex[:, which],
            self.closing_by_sex[:, which],
            self.young_most[which],
            self.elsewhere[which],
        )

    def change(self, row: int) -> Change:
        """One row by itself."""
        return Change(
            int(self.opening[row]),
            int(self.late[row]),
            int(self.missing[row]),
            dict(zip(FLOW_COLUMNS, self.flows[:, row].tolist(), strict=True)),
            dict(zip(SEXES, self.opening_by_sex[:, row].tolist(), strict=True)),
            dict(zip(SEXES, self.closing_by_sex[:, row].tolist(), strict=True)),
        )

    def total(self) -> Change:
        """All rows together; they must be of one unit."""
        return Change(
            int(self.opening.sum()),
            int(self.late.sum()),
            int(self.missing.sum()),
            dict(zip(FLOW_COLUMNS, self.flows.sum(axis=1).tolist(), strict=True)),
            dict(zip(SEXES, self.opening_by_sex.sum(axis=1).tolist(), strict=True)),
            dict(zip(SEXES, self.closing_by_sex.sum(axis=1).tolist(), strict=True)),
        )

    @property
    def empty(self) -> Truths:
        """Rows with nothing at the start, nothing in between, nothing at the end."""
        filled: Truths = (self.opening != 0) | (self.late != 0) | (self.missing != 0)
        for numbers in (*self.flows, *self.opening_by_sex, *self.closing_by_sex):
            filled |= numbers != 0
        return ~filled

    def with_nothing(self, rows: int) -> "ChangeColumns":
        """With so many rows more, in which there is nothing."""
        none = nothing(rows)
        return ChangeColumns(
            *(
                np.concatenate([getattr(self, name), getattr(none, name)], axis=-1)
                for name in self.__dataclass_fields__
            )
        )


def nothing(rows: int) -> ChangeColumns:
    """Rows in which there is nothing."""
    zeros = np.zeros(rows, dtype=np.int64)
    by_sex = np.zeros((len(SEXES), rows), dtype=np.int64)
    flows = np.zeros((len(FLOW_COLUMNS), rows), dtype=np.int64)
    return ChangeColumns(zeros, zeros, zeros, flows, by_sex, by_sex, zeros, zeros)


def change_columns(
    *,
    opening: Amounts,
    closing: Amounts,
    late: Flows,
    flows: Flows,
    steps: Steps,
    young: Mapping[int, Bounds],
    ends: EndColumns,
    rows: RowColumns,
) -> tuple[ChangeColumns, Truths]:
    """The change of every row, and whether it ends at what the reader found (``closing``): in total, by sex
    and missing. ``steps`` are those of ``flows``; ``young`` are deaths of young by row."""
    size = len(rows)
    opened, opened_by_sex, missing = _held(opening, ends, rows)
    read, read_by_sex, read_missing = _held(closing, ends, rows)
    closing_by_sex = opened_by_sex.copy()
    missing = missing.copy()
    lately = np.zeros(size, dtype=np.int64)
    for part, is_late in ((flows, False), (late, True)):
        for cells, sign in ((part.from_cell, -1), (part.to_cell, 1)):
            held, by_sex, gone = _held(Amounts(cells, sign * part.n), ends, rows)
            closing_by_sex += by_sex
            missing += gone
            if is_late:
                lately += held
    begun = steps.column == _OPENING
    opened = opened + sums(steps.row[begun], steps.n[begun], size)
    opened_by_sex = opened_by_sex + _by(steps.sex[begun], steps.row[begun], steps.n[begun], len(SEXES), size)
    by_column = _by(steps.column[~begun], steps.row[~begun], steps.n[~begun], len(FLOW_COLUMNS), size)
    most = np.zeros(size, dtype=np.int64)
    for row, bounds in young.items():
        by_column[_COLUMN["died"], row] -= bounds.least
        by_column[_COLUMN["died_within_30_days"], row] = bounds.least
        most[row] = bounds.most
    elsewhere = _held(closing.of(ends.off_site[closing.cell]), ends, rows)[0]
    found = ChangeColumns(opened, lately, missing, by_column, opened_by_sex, closing_by_sex, most, elsewhere)
    tied = (found.closing == read) & (closing_by_sex == read_by_sex).all(axis=0) & (missing == read_missing)
    return found, tied


def flows_by_sex(steps: Steps, rows: int) -> Numbers:
    """Flows by column, sex and row; deaths of all ages."""
    flowed = steps.column != _OPENING
    at = steps.column[flowed] * len(SEXES) + steps.sex[flowed]
    found = _by(at, steps.row[flowed], steps.n[flowed], len(FLOW_COLUMNS) * len(SEXES), rows)
    return found.reshape(len(FLOW_COLUMNS), len(SEXES), rows)


def moves_of(flows: Flows, ends: EndColumns, rows: RowColumns) -> dict[tuple[str, int, int], int]:
    """Animals that went from one place to another, by unit and both places; regroups and loans are none."""
    a, b, n = flows
    moved = (rows.of_cell[a] >= 0) & (rows.of_cell[b] >= 0)
    moved &= (ends.place[a] != ends.place[b]) & (ends.lot[a] == ends.lot[b])
    a, b, n = a[moved], b[moved], n[moved]
    places = int(ends.place.max(initial=0)) + 1
    keys, of_flow = np.unique(
        (ends.unit[a] * places + ends.place[a]) * places + ends.place[b], return_inverse=True
    )
    total = sums(of_flow, n, len(keys))
    return {
        (ends.units[key // places // places], key // places % places, key % places): animals
        for key, animals in zip(keys.tolist(), total.tolist(), strict=True)
        if animals
    }


def _held(amounts: Amounts, ends: EndColumns, rows: RowColumns) -> tuple[Numbers, Numbers, Numbers]:
    """By row: in all, by sex, missing."""
    row = rows.of_cell[amounts.cell]
    inside = row >= 0
    row, n = row[inside], amounts.n[inside]
    cell = amounts.cell[inside]
    by_sex = _by(ends.sex[cell], row, n, len(SEXES), len(rows))
    gone = ends.missing[cell]
    return by_sex.sum(axis=0), by_sex, sums(row[gone], n[gone], len(rows))


def _by(part: Numbers, row: Numbers, n: Numbers, parts: int, rows: int) -> Numbers:
    """Sums by part and row."""
    return sums(part * rows + row, n, parts * rows).reshape(parts, rows)


def order_of(columns: Sequence[Numbers]) -> Numbers:
    """Positions in the order of the first column, then of the next."""
    return np.lexsort(tuple(reversed(columns))).astype(np.int64)


def ranks(words: Sequence[object]) -> Numbers:
    """The place of each of some words (all different or not) in their order; equal ones have one rank."""
    places = {word: i for i, word in enumerate(sorted(set(words)))}  # type: ignore[type-var]
    return np.array([places[word] for word in words], dtype=np.int64)
