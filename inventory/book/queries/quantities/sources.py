"""Where the animals of each lot came from, as one label a lot."""

from collections import defaultdict
from datetime import datetime
from typing import Any

from inventory.book.rules.kinds import ARRIVALS
from inventory.book.rules.sources import inherit, label_of_arrival, label_of_lot

from .sql import known, moment, rows

# A reversed event brought nothing, so neither it nor its reversal is asked. Reversals are known
# by their own column; whether one was known at a moment is its own entered_at.
_NOT_REVERSED = """
 AND e.reverses_id IS NULL
 AND NOT EXISTS (SELECT 1 FROM book_event r WHERE r.reverses_id = e.id{entered})
"""

# By the event's kind, which leaves four fifths of the events aside before a flow is read.
_ARRIVALS = f"""
SELECT DISTINCT c.lot_id, e.kind, e.party, e.permit_number
  FROM book_event e
  JOIN book_flow f ON f.event_id = e.id
  JOIN book_cell c ON c.id = f.to_cell_id
 WHERE e.kind IN ({", ".join(f"'{kind}'" for kind in ARRIVALS)})
   AND c.inside
"""

_REGROUPED = """
SELECT DISTINCT a.lot_id, b.lot_id
  FROM book_event e
  JOIN book_flow f ON f.event_id = e.id
  JOIN book_cell a ON a.id = f.from_cell_id
  JOIN book_cell b ON b.id = f.to_cell_id
 WHERE e.kind = 'regrouped' AND a.lot_id <> b.lot_id AND a.inside AND b.inside
"""


def source_labels(*, before: datetime | None = None, known_at: datetime | None = None) -> dict[int, str]:
    """Label of the source of each lot by lot id; several sources of a pool joined with " + ".

    A lot that others were regrouped into carries their sources too. Two queries.
    """
    arrived: defaultdict[int, set[str]] = defaultdict(set)
    for lot, cause, party, permit in _asked(_ARRIVALS, before, known_at):
        arrived[lot].add(label_of_arrival(cause, party=party, permit=permit))
    edges = [(giver, taker) for giver, taker in _asked(_REGROUPED, before, known_at)]
    return {lot: label_of_lot(labels) for lot, labels in inherit(arrived, edges).items()}


def _asked(sql: str, before: datetime | None, known_at: datetime | None) -> list[tuple[Any, ...]]:
    entered, more = known(known_at)
    later, even_more = known(known_at, "r")
    params = [*even_more]
    sql += _NOT_REVERSED.format(entered=later)
    if before is not None:
        sql += " AND f.effective_at < %s"
        params.append(moment(before))
    return rows(sql + entered, [*params, *more])
