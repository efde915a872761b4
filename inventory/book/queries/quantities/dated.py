"""Flows of some lots with their days, as whole columns."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple

import numpy as np

from inventory.book.rules.columns import Numbers

from .sql import among, as_compared, moment, rows


class DatedColumns(NamedTuple):
    """``n`` animals from one cell to another; a reversal stands as it was booked. ``day`` is the position of
    the day in which it happened among those asked for, ``younger`` how many of the knowledges asked for are
    older than its entry."""

    day: Numbers
    younger: Numbers
    from_cell: Numbers
    to_cell: Numbers
    n: Numbers


def dated_columns(
    lots: Iterable[int], *, begins: Sequence[datetime], before: datetime, knowledges: Sequence[datetime]
) -> DatedColumns:
    """Every flow into or out of an inside cell of ``lots`` from the first of the days that begin at
    ``begins`` until ``before``, each once, in no order. ``knowledges`` are in order. One query.

    The same flows as of :func:`~.flows.flows_of_lots`. Moments are compared as the database gives them, which
    is faster than to convert each.
    """
    of_lots, ids = among("c.lot_id", lots)
    happened, entered = as_compared("f.effective_at"), as_compared("f.entered_at")
    sides = [
        f"SELECT f.id, {happened}, {entered}, f.from_cell_id, f.to_cell_id, f.n FROM book_cell c"
        f" JOIN book_flow f ON f.{end}_cell_id = c.id"
        f" WHERE {of_lots} AND c.inside AND f.effective_at >= %s AND f.effective_at < %s"
        for end in ("to", "from")
    ]
    # What both sides name comes twice, and is sorted out here: a database would sort all that it read.
    both = rows(" UNION ALL ".join(sides), [*ids, moment(begins[0]), moment(before)] * 2)
    found = {row[0]: row for row in both}
    days, told = ([moment(value) for value in values] for values in (begins, knowledges))
    columns = [
        (bisect_right(days, when) - 1, bisect_left(told, known), a, b, n)
        for _, when, known, a, b, n in found.values()
    ]
    return DatedColumns(*np.array(columns, dtype=np.int64).reshape(-1, 5).T)
