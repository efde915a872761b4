"""The columns of a period, and what is entered later added to them.

Every figure of a period is a sum over flows, each of which counts in it or not by its own two moments: when
it happened and when it was entered. So the columns of a book that has grown are those of the book before with
the new flows added, each by the same rule. Nothing that was there before can count otherwise for it, because
flows are never changed or deleted; a reversal is a flow too.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import NamedTuple

import numpy as np

from .columns import Amounts, Flows, Numbers, sums


class Span(NamedTuple):
    """A period that is read: half-open, with the days before it from ``earlier`` on, each end as known at its
    moment (None: now)."""

    earlier: datetime
    start: datetime
    end: datetime
    opening_known: datetime | None
    closing_known: datetime | None


class PeriodColumns(NamedTuple):
    """Cells by their numbers. ``opening`` and ``closing`` may name outside cells too, which hold nothing.

    ``flows`` are those of the period, ``earlier`` those of the days before it that were asked for, ``late``
    what the closing knows of the time before the period and the opening does not. A reversal stands as what
    it takes back, with a minus; among the late ones as it was booked.
    """

    opening: Amounts
    closing: Amounts
    flows: Flows
    earlier: Flows
    late: Flows

    def named(self) -> list[Numbers]:
        """Every column of cells."""
        flows = (self.flows, self.earlier, self.late)
        ends = [cells for part in flows for cells in (part.from_cell, part.to_cell)]
        return [self.opening.cell, self.closing.cell, *ends]

    def cells(self) -> Numbers:
        """Every cell that is named, in order."""
        return numbers_in(self.named())


def numbers_in(named: Sequence[Numbers]) -> Numbers:
    """Every number of a cell or a lot that stands in some columns, once, in order. They are numbered one
    after another, so that a table has room for all of them."""
    is_named = np.zeros(max(int(numbers.max(initial=0)) for numbers in named) + 1, dtype=np.bool_)
    for numbers in named:
        is_named[numbers] = True
    return np.flatnonzero(is_named).astype(np.int64)


class EnteredFlow(NamedTuple):
    """One flow as it was booked, with its moments."""

    from_cell: int
    to_cell: int
    n: int
    reversal: bool
    effective_at: datetime
    entered_at: datetime

    def known(self, at: datetime | None) -> bool:
        """Whether the book had it at a moment."""
        return at is None or self.entered_at <= at

    def as_reported(self) -> tuple[int, int, int]:
        """A reversal as what it takes back, with a minus."""
        if self.reversal:
            return self.to_cell, self.from_cell, -self.n
        return self.from_cell, self.to_cell, self.n


def with_entered(columns: PeriodColumns, span: Span, entered: Sequence[EnteredFlow]) -> PeriodColumns:
    """The columns of a book to which some flows were added."""
    known = [flow for flow in entered if flow.known(span.closing_known)]
    opened = [flow for flow in entered if flow.effective_at < span.start and flow.known(span.opening_known)]
    closed = [flow for flow in known if flow.effective_at < span.end]
    inside = [flow.as_reported() for flow in closed if flow.effective_at >= span.start]
    earlier = [flow.as_reported() for flow in closed if span.earlier <= flow.effective_at < span.start]
    return PeriodColumns(
        opening=_held(columns.opening, opened),
        closing=_held(columns.closing, closed),
        flows=_flowed(columns.flows, inside),
        earlier=_flowed(columns.earlier, earlier),
        late=_flowed(columns.late, _late(span, entered)),
    )


def _late(span: Span, entered: Sequence[EnteredFlow]) -> list[tuple[int, int, int]]:
    """What one end knows of the time before the period and the other does not; with a minus what the closing
    does not know, where knowledge runs backwards."""
    found = []
    for flow in entered:
        more = flow.known(span.closing_known) - flow.known(span.opening_known)
        if more and flow.effective_at < span.start:
            found.append((flow.from_cell, flow.to_cell, more * flow.n))
    return found


def _held(amounts: Amounts, flows: Sequence[EnteredFlow]) -> Amounts:
    """What is held after some flows, each cell once."""
    if not flows:
        return amounts
    from_cell, to_cell, n = np.array([flow[:3] for flow in flows], dtype=np.int64).T
    cells = np.concatenate([amounts.cell, to_cell, from_cell])
    held = sums(cells, np.concatenate([amounts.n, n, -n]), int(cells.max()) + 1)
    found = np.flatnonzero(held).astype(np.int64)
    return Amounts(found, held[found])


def _flowed(flows: Flows, more: Sequence[tuple[int, int, int]]) -> Flows:
    if not more:
        return flows
    columns = np.array(more, dtype=np.int64).T
    return Flows(*(np.concatenate(pair) for pair in zip(flows, columns, strict=True)))
