"""Where the animals of each lot came from, as one label a lot."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any

import numpy as np

from inventory.book.rules.columns import Numbers, Truths
from inventory.book.rules.kinds import ARRIVALS, EventKind
from inventory.book.rules.sources import ArrivalBits, inherit

from .of_kinds import OfKinds
from .sql import among, in_one_text, known, moment, numbers, out_of_index, out_of_texts, rows

# A reversed event brought nothing, so neither it nor its reversal is asked. Reversals are known
# by their own column; whether one was known at a moment is its own entered_at.
_NOT_REVERSED = """
 AND e.reverses_id IS NULL
 AND NOT EXISTS (SELECT 1 FROM book_event r WHERE r.reverses_id = e.id{entered})
"""

# The same where all events are read: those that were reversed are few and read once.
_AMONG_ALL_NOT_REVERSED = """
 AND e.reverses_id IS NULL
 AND e.id NOT IN (SELECT r.reverses_id FROM book_event r WHERE r.reverses_id IS NOT NULL{entered})
"""

# What came into any lot, by the event's kind, which leaves most events aside before a flow is read. The cells
# are read once through and looked up here, for the database would go to the row of each by itself. Few
# arrivals differ, and so the flows of each are one text.
_EVERY = f"""
SELECT e.kind, e.party, e.permit_number, COUNT(*), {{givers}}, {{takers}}
  FROM book_event e
  JOIN book_flow f ON f.event_id = e.id
 WHERE e.kind IN ({", ".join(f"'{kind}'" for kind in (*ARRIVALS, EventKind.REGROUPED))})
"""
_INSIDE = "SELECT id, lot_id FROM book_cell WHERE inside"

# The same of some lots.
_ARRIVALS = f"""
SELECT c.lot_id, e.kind, e.party, e.permit_number
  FROM book_event e
  JOIN book_flow f ON f.event_id = e.id
  JOIN book_cell c ON c.id = f.to_cell_id
 WHERE e.kind IN ({", ".join(f"'{kind}'" for kind in ARRIVALS)})
   AND c.inside
"""

_REGROUPED = """
SELECT a.lot_id, b.lot_id
  FROM book_event e
  JOIN book_flow f ON f.event_id = e.id
  JOIN book_cell a ON a.id = f.from_cell_id
  JOIN book_cell b ON b.id = f.to_cell_id
 WHERE e.kind = 'regrouped' AND a.lot_id <> b.lot_id AND a.inside AND b.inside
"""

# Lots whose animals came into the given ones, however far back, and these; also by what was reversed, for to
# look at one lot too many changes no label.
_GIVERS = """
WITH RECURSIVE giver(lot_id) AS (
  SELECT id FROM book_lot WHERE {of_lots}
  UNION
  SELECT a.lot_id
    FROM giver
    JOIN book_cell b ON b.lot_id = giver.lot_id
    JOIN book_flow f ON f.to_cell_id = b.id
    JOIN book_cell a ON a.id = f.from_cell_id
   WHERE b.inside AND a.inside AND a.lot_id <> b.lot_id
)
SELECT lot_id FROM giver
"""


def source_labels(
    *,
    before: datetime | None = None,
    known_at: datetime | None = None,
    lots: Iterable[int] | None = None,
) -> dict[int, str]:
    """Label of the source of each lot by lot id; several sources of a pool joined with " + ".

    A lot that others were regrouped into carries their sources too. Three queries at most: those of all lots
    as they are known now are remembered until another event tells of sources, and ``lots`` alone read no more
    than what their animals came through. Nobody changes the answer.
    """
    if before is None and known_at is None and lots is None:
        return _of_all()
    return _read_labels(before, known_at, lots)


def _read_labels(
    before: datetime | None = None, known_at: datetime | None = None, lots: Iterable[int] | None = None
) -> dict[int, str]:
    bits = ArrivalBits()
    if lots is None:
        found = inherit(*_of_every_lot(bits, before, known_at))
    else:
        wanted = set(lots)
        of_givers = inherit(*_into(_givers(wanted), bits, before, known_at))
        found = {lot: own for lot, own in of_givers.items() if lot in wanted}
    labels = {own: bits.label(own) for own in {*found.values()}}
    return {lot: labels[own] for lot, own in found.items()}


# What arrived in each lot, as bits; giver and taker of each regroup.
_Came = tuple[dict[int, int], list[tuple[int, int]]]


def _of_every_lot(bits: ArrivalBits, before: datetime | None, known_at: datetime | None) -> _Came:
    """Two queries, the cells after the flows, so that no cell is missing.

    A house has some hundred thousands of these flows and few arrivals that differ: what is said of each is
    looked up once, and lots are found in whole columns.
    """
    givers, takers = map(in_one_text, ("f.from_cell_id", "f.to_cell_id"))
    found = _asked(_EVERY.format(givers=givers, takers=takers), before, known_at, grouped="1, 2, 3")
    lot_of = _lots_of_inside_cells()
    arrived: dict[int, int] = {}
    edges: list[tuple[int, int]] = []
    for kind, party, permit, flows, *told in found:
        giver, taker = (_looked_up(lot_of, cells) for cells in out_of_texts(told, flows))
        if kind == EventKind.REGROUPED.value:
            edges += _each_once(giver, taker, (giver > 0) & (taker > 0) & (giver != taker))
        else:
            bit = bits[kind, party, permit]
            for lot in np.unique(taker[taker > 0]).tolist():
                arrived[lot] = arrived.get(lot, 0) | bit
    return arrived, edges


def _lots_of_inside_cells() -> Numbers:
    """By the number of a cell its lot; 0 outside, and of no cell. One query."""
    cell, lot = numbers(_INSIDE, [], 2)
    found = np.zeros(int(cell.max(initial=0)) + 1, dtype=np.int64)
    found[cell] = lot
    return found


def _looked_up(lot_of: Numbers, cells: Numbers) -> Numbers:
    return np.where(cells < len(lot_of), lot_of[np.minimum(cells, len(lot_of) - 1)], 0)


def _each_once(a: Numbers, b: Numbers, which: Truths) -> list[tuple[int, int]]:
    """The pairs of two columns where ``which`` holds; numbers from 0 on."""
    size = int(b.max(initial=0)) + 1
    pairs = np.unique(a[which] * size + b[which])
    return list(zip((pairs // size).tolist(), (pairs % size).tolist(), strict=True))


def _into(lots: list[int], bits: ArrivalBits, before: datetime | None, known_at: datetime | None) -> _Came:
    """Two queries."""
    arrived: dict[int, int] = {}
    for lot, kind, party, permit in _asked(_ARRIVALS, before, known_at, into=("c", lots)):
        arrived[lot] = arrived.get(lot, 0) | bits[kind, party, permit]
    regrouped = _asked(_REGROUPED, before, known_at, into=("b", lots))
    return arrived, [(giver, taker) for giver, taker in regrouped]


# What can give a lot another source: an arrival, animals of another lot, and what takes either back.
_of_all = OfKinds([*ARRIVALS, EventKind.REGROUPED, EventKind.REVERSED], _read_labels)


def forget() -> None:
    """What is remembered; for who measures."""
    _of_all.forget()


def _givers(lots: Iterable[int]) -> list[int]:
    """All lots that a label of these can come from. One query."""
    of_lots, ids = among("id", lots)
    return [lot for (lot,) in rows(_GIVERS.format(of_lots=of_lots), ids)]


def _asked(
    sql: str,
    before: datetime | None,
    known_at: datetime | None,
    *,
    into: tuple[str, list[int]] | None = None,
    grouped: str = "",
) -> list[tuple[Any, ...]]:
    """``into``: the cell that the animals came to, by its letter, and the lots that it must be of.
    ``grouped``: the columns that rows are brought together by, where all lots are asked for."""
    entered, more = known(known_at)
    later, even_more = known(known_at, "r")
    params = [*even_more]
    sql += (_AMONG_ALL_NOT_REVERSED if into is None else _NOT_REVERSED).format(entered=later)
    if before is not None:
        sql += " AND f.effective_at < %s"
        params.append(moment(before))
    if into is None:
        return rows(f"{sql}{entered}{f' GROUP BY {grouped}' if grouped else ''}", [*params, *more])
    cell, lots = into
    of_lots, ids = among(f"{cell}.lot_id", lots)
    # By the lots' own cells, not by the kinds of all events.
    sql = sql.replace("WHERE e.kind", f"WHERE {out_of_index('e.kind')}").replace(
        "e.reverses_id IS", f"{out_of_index('e.reverses_id')} IS"
    )
    return rows(f"{sql}{entered} AND {of_lots}", [*params, *more, *ids])
