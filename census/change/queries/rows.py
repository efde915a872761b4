"""The rows of a report as columns; a row becomes an object when it is asked for."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, overload

import numpy as np

from inventory.book.rules.columns import Numbers, Truths
from inventory.names.models import Taxon

from ..rules.arithmetic import Change
from ..rules.arrays import ChangeColumns, Steps, flows_by_sex, nothing, order_of, ranks
from ..rules.columns import FLOW_COLUMNS
from .reading import RowKey


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its group's label ("" by taxon), its taxon, its unit and its change.

    ``young_most`` is the most deaths that may have been within 30 days of birth; the least stands
    in the change. ``ties`` is False when the reader found another closing than the arithmetic.
    """

    key: RowKey
    label: str
    taxon: Taxon
    change: Change
    young_most: int
    ties: bool

    @property
    def unit(self) -> str:
        return self.key.unit

    @property
    def name(self) -> str:
        """Label, taxon and unit in one line."""
        return " ".join(part for part in (self.label, self.taxon.scientific_name, self.unit) if part)

    def value(self, column: str) -> Any:
        """What stands in a column of the contract."""
        return value_of(self.change, column)


def value_of(change: Change, column: str) -> Any:
    """The figure of a column; the two m.f.u columns are text."""
    return change.flows[column] if column in FLOW_COLUMNS else getattr(change, column)


@dataclass(frozen=True)
class Rows(Sequence[Row]):
    """All rows, each at one place in every column.

    ``group`` is the number of a place or lot, or a position in ``words``; ``labels`` is what stands in the
    first column, by group. ``unit`` is a position in ``units``. ``steps`` are what flows did to these rows.
    """

    columns: ChangeColumns
    group: Numbers
    taxon: Numbers
    unit: Numbers
    tied: Truths
    steps: Steps
    units: Sequence[str]
    words: Sequence[str] | None
    labels: Mapping[int | str, str]
    taxa: Mapping[int, Taxon]

    def __len__(self) -> int:
        return len(self.group)

    @overload
    def __getitem__(self, at: int) -> Row: ...
    @overload
    def __getitem__(self, at: slice) -> list[Row]: ...
    def __getitem__(self, at: int | slice) -> Row | list[Row]:
        if isinstance(at, slice):
            return [self._one(i) for i in range(*at.indices(len(self)))]
        return self._one(range(len(self))[at])

    def __iter__(self) -> Iterator[Row]:
        return map(self._one, range(len(self)))

    def _one(self, at: int) -> Row:
        key = self.key(at)
        return Row(
            key=key,
            label=self.labels[key.group],
            taxon=self.taxa[key.taxon_id],
            change=self.columns.change(at),
            young_most=int(self.columns.young_most[at]),
            ties=bool(self.tied[at]),
        )

    def key(self, at: int) -> RowKey:
        """Which row it is."""
        group = int(self.group[at])
        word = group if self.words is None else self.words[group]
        return RowKey(word, int(self.taxon[at]), self.units[int(self.unit[at])])

    def at(self, which: Numbers) -> "Rows":
        """Some rows, in the order in which they are asked for."""
        where = np.full(len(self), -1, dtype=np.int64)
        where[which] = np.arange(len(which))
        row = where[self.steps.row]
        kept = row >= 0
        return replace(
            self,
            columns=self.columns.at(which),
            group=self.group[which],
            taxon=self.taxon[which],
            unit=self.unit[which],
            tied=self.tied[which],
            steps=Steps(row[kept], *(column[kept] for column in self.steps[1:])),
        )

    def in_order(self, *columns: Numbers) -> "Rows":
        """By the first of these columns, then by the next; otherwise as they stand."""
        return self.at(order_of(columns))

    def with_nothing(self, keys: Sequence[RowKey], taxa: Mapping[int, Taxon]) -> "Rows":
        """With rows more, in which there is nothing; their groups are numbers."""
        units = (*self.units, *sorted({key.unit for key in keys} - set(self.units)))

        def joined(column: Numbers, more: list[int]) -> Numbers:
            return np.concatenate([column, np.array(more, dtype=np.int64)])

        return replace(
            self,
            columns=self.columns.with_nothing(len(keys)),
            group=joined(self.group, [int(key.group) for key in keys]),
            taxon=joined(self.taxon, [key.taxon_id for key in keys]),
            unit=joined(self.unit, [units.index(key.unit) for key in keys]),
            tied=np.concatenate([self.tied, np.ones(len(keys), dtype=np.bool_)]),
            units=units,
            taxa={**self.taxa, **taxa},
        )

    def spans(self, column: Numbers, first: int, last: int) -> Iterator[tuple[int, int]]:
        """From where to where one value stands in a column of these rows, between two positions."""
        ends = first + 1 + np.flatnonzero(np.diff(column[first:last]))
        return pairwise([first, *ends.tolist(), last]) if last > first else iter(())

    def of_unit(self, unit: str) -> "Rows":
        """The rows of one unit."""
        return self.at(np.flatnonzero(self.unit == self.units.index(unit)).astype(np.int64))

    def unit_ranks(self) -> Numbers:
        """The place of every row's unit among the units."""
        return ranks(self.units)[self.unit]

    def label_ranks(self) -> Numbers:
        """The place of every row's label among the labels."""
        groups, of_row = np.unique(self.group, return_inverse=True)
        words = [group if self.words is None else self.words[group] for group in groups.tolist()]
        return ranks([self.labels[word] for word in words])[of_row]

    def taxon_ranks(self, told: Callable[[Taxon], object]) -> Numbers:
        """The place of every row's taxon in the order of what is told of it."""
        taxa, of_row = np.unique(self.taxon, return_inverse=True)
        return ranks([told(self.taxa[pk]) for pk in taxa.tolist()])[of_row]

    def named_taxa(self) -> dict[int, Taxon]:
        """The taxa of all rows, by number."""
        return {pk: self.taxa[pk] for pk in np.unique(self.taxon).tolist()}

    def totals(self) -> dict[str, Change]:
        """Sums of rows by unit; units are never added together."""
        found = {}
        for unit in np.unique(self.unit).tolist():
            of_unit = np.flatnonzero(self.unit == unit).astype(np.int64)
            found[self.units[unit]] = self.columns.at(of_unit).total()
        return dict(sorted(found.items()))

    def by_sex(self) -> Numbers:
        """Flows by column, sex and row; deaths of all ages stand under ``died``."""
        return flows_by_sex(self.steps, len(self))


def no_rows() -> Rows:
    """Of a report that is only the head of another."""
    none = np.zeros(0, dtype=np.int64)
    steps = Steps(none, none, none, none)
    return Rows(nothing(0), none, none, none, none.astype(np.bool_), steps, (), ("",), {}, {})
