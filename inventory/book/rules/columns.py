"""Quantities as whole columns: a report of a hundred thousand cells adds them up in a few steps.

Cells stand in the columns by their position in :class:`EndColumns`, so that what a cell is can be looked
up for all of them at once.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .ends import CellEnd

Numbers = NDArray[np.int64]
Truths = NDArray[np.bool_]

# The order in which sexes are numbered.
SEXES = ("male", "female", "hermaphrodite", "unknown")


class Amounts(NamedTuple):
    """``n`` animals in a cell. A cell may stand several times, and what it holds is the sum."""

    cell: Numbers
    n: Numbers

    def of(self, which: Truths) -> "Amounts":
        """A part of them."""
        return Amounts(self.cell[which], self.n[which])


class Flows(NamedTuple):
    """``n`` animals from one cell to another; negative where a flow is taken back."""

    from_cell: Numbers
    to_cell: Numbers
    n: Numbers

    def of(self, which: Truths) -> "Flows":
        """A part of them."""
        return Flows(self.from_cell[which], self.to_cell[which], self.n[which])


@dataclass(frozen=True, slots=True)
class EndColumns:
    """What cells are, in the order of their numbers ``cell``.

    ``place`` is 0 outside, ``cause`` 0 inside. ``unit``, ``owner`` and ``cause`` are positions in the tuples
    beside them, ``sex`` one in ``SEXES``.
    """

    cell: Numbers
    lot: Numbers
    taxon: Numbers
    unit: Numbers
    owner: Numbers
    place: Numbers
    off_site: Truths
    sex: Numbers
    missing: Truths
    cause: Numbers
    units: tuple[str, ...]
    owners: tuple[str, ...]
    causes: tuple[str, ...]

    def of(self, cells: Numbers) -> "EndColumns":
        """What some of the cells are, each of which is here; numbers in order."""
        at = self.at(cells)
        return replace(self, **{name: getattr(self, name)[at] for name in _OF_CELLS})

    def and_(self, more: "EndColumns") -> "EndColumns":
        """With other cells, none of which is here."""
        units, owners, causes = (
            tuple(dict.fromkeys((*mine, *its)))
            for mine, its in (
                (self.units, more.units),
                (self.owners, more.owners),
                (self.causes, more.causes),
            )
        )
        more = replace(
            more,
            unit=_recoded(more.unit, more.units, units),
            owner=_recoded(more.owner, more.owners, owners),
            cause=_recoded(more.cause, more.causes, causes),
        )
        order = np.argsort(np.concatenate([self.cell, more.cell]))
        joined = {
            name: np.concatenate([getattr(self, name), getattr(more, name)])[order] for name in _OF_CELLS
        }
        return EndColumns(**joined, units=units, owners=owners, causes=causes)

    def at(self, cells: Numbers) -> Numbers:
        """The positions of cells, each of which is here."""
        found: Numbers = np.searchsorted(self.cell, cells).astype(np.int64)
        return found

    @property
    def inside(self) -> Truths:
        """The cells that are in a place."""
        found: Truths = self.cause == 0
        return found

    def cause_called(self, cause: str) -> int:
        """The number of an outside cause; -1 where it is not among the causes."""
        return self.causes.index(cause) if cause in self.causes else -1

    def ends(self, at: Numbers) -> dict[int, CellEnd]:
        """Some cells one by one, by position."""
        columns = zip(
            at.tolist(),
            self.lot[at].tolist(),
            self.taxon[at].tolist(),
            self.unit[at].tolist(),
            self.owner[at].tolist(),
            self.place[at].tolist(),
            self.off_site[at].tolist(),
            self.sex[at].tolist(),
            self.missing[at].tolist(),
            self.cause[at].tolist(),
            strict=True,
        )
        return {
            i: CellEnd(
                lot,
                taxon,
                self.units[unit],
                self.owners[owner],
                place or None,
                off_site,
                SEXES[sex],
                "missing" if missing else "present",
                self.causes[cause],
            )
            for i, lot, taxon, unit, owner, place, off_site, sex, missing, cause in columns
        }


# The columns that have a value for each cell.
_OF_CELLS = ("cell", "lot", "taxon", "unit", "owner", "place", "off_site", "sex", "missing", "cause")


def _recoded(column: Numbers, words: tuple[str, ...], others: tuple[str, ...]) -> Numbers:
    """Positions in ``words`` as positions in ``others``, which have all of them."""
    position = {word: i for i, word in enumerate(others)}
    return np.array([position[word] for word in words], dtype=np.int64)[column]


def sums(at: Numbers, n: Numbers, size: int) -> Numbers:
    """The sum of ``n`` at each position below ``size``, in whole numbers."""
    found = np.zeros(size, dtype=np.int64)
    np.add.at(found, at, n)
    return found
