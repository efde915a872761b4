"""The columns of periods and of cells, read once and then brought up to date by what has been entered since.

A house enters deaths all day and reads the running quarter between them. What :mod:`.quantities` answers is
the definition; here only the flows are read that came after those that were read before. That is right as
long as the same chain goes on, no closing was issued and no lot, place or taxon was changed
(:func:`~.revision.goes_on`); otherwise all is read anew. Each process keeps its own, and none inside a
transaction, whose state may be taken back.
"""

from collections import OrderedDict
from collections.abc import Sequence
from threading import Lock
from typing import NamedTuple

import numpy as np
from django.db import connection

from ..rules.columns import EndColumns, Numbers
from ..rules.period_columns import EnteredFlow, PeriodColumns, Span, with_entered
from .quantities import columns_of_spans, end_columns, period_columns
from .quantities.sql import as_moments, rows
from .revision import BookState, book_state, goes_on

# More flows than this, as of a history that is loaded, are not added one by one.
MOST_ENTERED = 20_000
# Numbers of all periods together, and cells of one book, that a process keeps: some 50 MB of each.
NUMBERS_KEPT = 6_000_000
CELLS_KEPT = 700_000

_ENTERED = """
SELECT from_cell_id, to_cell_id, n, reversal, effective_at, entered_at
  FROM book_flow WHERE id > %s AND id <= %s ORDER BY id
"""


class _Period(NamedTuple):
    state: BookState
    columns: PeriodColumns


class _Cells(NamedTuple):
    state: BookState
    ends: EndColumns


_periods: OrderedDict[tuple[str, Span], _Period] = OrderedDict()
_cells: dict[str, _Cells] = {}
_lock = Lock()


def kept_periods(spans: Sequence[Span]) -> list[PeriodColumns]:
    """The columns of each period; nobody changes what they hold.

    One query for the state of the book, two for all that are kept from one earlier state, and one more beside
    those of the periods that are read anew.
    """
    if connection.in_atomic_block:
        return _read(spans)
    database, state = str(connection.settings_dict["NAME"]), book_state()
    with _lock:
        kept = {span: one for span in spans if (one := _periods.get((database, span)))}
    since = {then: _entered(then, state) for then in {one.state for one in kept.values()}}
    found = {}
    for span, (then, columns) in kept.items():
        entered = since[then]
        if entered is not None:
            found[span] = with_entered(columns, span, entered)
    wanted = [span for span in dict.fromkeys(spans) if span not in found]
    if wanted:
        found |= dict(zip(wanted, _read(wanted), strict=True))
    # Nothing was entered while they were read, or they would stand under the wrong state.
    if not wanted or book_state() == state:
        with _lock:
            for span, columns in found.items():
                _keep(database, span, _Period(state, columns))
    return [found[span] for span in spans]


def kept_ends(cells: Numbers) -> EndColumns:
    """What cells are, told by their numbers in order, each once. A cell is never changed, so that only those
    are asked for that were not asked for before. Three queries beside those two."""
    if connection.in_atomic_block:
        return end_columns(cells)
    database, state = str(connection.settings_dict["NAME"]), book_state()
    with _lock:
        kept = _cells.get(database)
    if kept is None or not goes_on(kept.state, state):
        ends = end_columns(cells)
    else:
        ends = kept.ends
        new = np.setdiff1d(cells, ends.cell, assume_unique=True)
        if len(new):
            ends = ends.and_(end_columns(new))
    if book_state() == state:
        with _lock:
            if len(ends.cell) <= CELLS_KEPT:
                _cells[database] = _Cells(state, ends)
            else:
                _cells.pop(database, None)
    return ends.of(cells)


def forget() -> None:
    """Everything; for who measures."""
    with _lock:
        _periods.clear()
        _cells.clear()


def _read(spans: Sequence[Span]) -> list[PeriodColumns]:
    """One period by itself needs fewer boundaries than several."""
    if len(spans) > 1:
        return columns_of_spans(spans)
    return [
        period_columns(
            earlier=span.earlier,
            start=span.start,
            end=span.end,
            opening_known=span.opening_known,
            closing_known=span.closing_known,
        )
        for span in spans
    ]


def _entered(then: BookState, now: BookState) -> list[EnteredFlow] | None:
    """The flows that came between two states; None where that does not tell all, or they are too many."""
    if then == now:
        return []
    if not goes_on(then, now):
        return None
    first, last = then.flow or 0, now.flow or 0
    if last - first > MOST_ENTERED:
        return None
    found = rows(_ENTERED, [first, last])
    happened, entered = (as_moments(row[i] for row in found) for i in (4, 5))
    return [
        EnteredFlow(a, b, n, bool(reversal), effective_at, entered_at)
        for (a, b, n, reversal, *_), effective_at, entered_at in zip(found, happened, entered, strict=True)
    ]


def _keep(database: str, span: Span, period: _Period) -> None:
    """The newest, up to a number of numbers in all."""
    _periods[database, span] = period
    _periods.move_to_end((database, span))
    while len(_periods) > 1 and sum(map(_numbers, _periods.values())) > NUMBERS_KEPT:
        _periods.popitem(last=False)


def _numbers(period: _Period) -> int:
    return sum(column.size for part in period.columns for column in part)
