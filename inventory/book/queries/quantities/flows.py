"""Flows as sums over pairs of cells, and what the two ends of each pair are."""

from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from inventory.book.rules.ends import CellEnd

from .sql import among, as_moments, known, moment, out_of_index, rows


class Pair(NamedTuple):
    """``n`` animals from one cell to another; a sum of flows, negative when taken backwards."""

    from_cell: int
    to_cell: int
    n: int


class DatedFlow(NamedTuple):
    """One flow of a lot with its event and its moment, aware; a reversal stands as it was booked."""

    flow_id: int
    event_id: int
    effective_at: datetime
    from_cell: int
    to_cell: int
    n: int
    reversal: bool


def pair_flows(*, since: datetime, before: datetime, known_at: datetime | None = None) -> list[Pair]:
    """Flows with ``since <= effective_at < before``, summed by pair of cells. One query.

    A reversal stands as the pair that it takes back, with a minus: a mistaken loan that was
    taken back is no loan, and no return either.
    """
    entered, more = known(known_at)
    sql = (
        "SELECT f.from_cell_id, f.to_cell_id, f.reversal, SUM(f.n) FROM book_flow f"
        f" WHERE f.effective_at >= %s AND f.effective_at < %s{entered}"
        " GROUP BY f.from_cell_id, f.to_cell_id, f.reversal"
    )
    return [
        Pair(b, a, -int(n)) if reversal else Pair(a, b, int(n))
        for a, b, reversal, n in rows(sql, [moment(since), moment(before), *more])
    ]


def late_flows(*, before: datetime, known_from: datetime | None, known_until: datetime | None) -> list[Pair]:
    """What one knowledge of the book before ``before`` lacks against another, by pair of cells.

    Flows dated before ``before`` and entered after ``known_from`` and up to ``known_until`` (None:
    now). When ``known_from`` is the later of the two, the same flows with a minus. One query.
    """
    if known_from == known_until:
        return []
    if known_from is None or (known_until is not None and known_from > known_until):
        back = late_flows(before=before, known_from=known_until, known_until=known_from)
        return [Pair(a, b, -n) for a, b, n in back]
    entered, more = known(known_until)
    sql = (
        "SELECT +f.from_cell_id, +f.to_cell_id, SUM(f.n) FROM book_flow f"
        f" WHERE f.entered_at > %s AND {out_of_index('f.effective_at')} < %s{entered}"
        # The plus hides the indexes that are in the order of the cells, which would be read whole.
        " GROUP BY +f.from_cell_id, +f.to_cell_id"
    )
    return [Pair(a, b, int(n)) for a, b, n in rows(sql, [moment(known_from), moment(before), *more])]


def flows_of_lots(
    lots: Iterable[int],
    *,
    before: datetime,
    since: datetime | None = None,
    known_at: datetime | None = None,
    known_after: datetime | None = None,
) -> list[DatedFlow]:
    """Every flow into or out of an inside cell of ``lots``, each once, in no order. One query.

    ``since`` and ``before`` bound when it counts, ``known_after`` and ``known_at`` when it was entered.
    """
    of_lots, ids = among("c.lot_id", lots)
    entered, more = known(known_at)
    condition = f"{of_lots} AND c.inside AND f.effective_at < %s{entered}"
    params = [*ids, moment(before), *more]
    for column, operator, bound in (("effective_at", ">=", since), ("entered_at", ">", known_after)):
        if bound is not None:
            condition += f" AND f.{column} {operator} %s"
            params.append(moment(bound))
    sides = [
        "SELECT f.id, f.event_id, f.effective_at, f.from_cell_id, f.to_cell_id, f.n, f.reversal"
        " FROM book_cell c"
        f" JOIN book_flow f ON f.{end}_cell_id = c.id WHERE {condition}"
        for end in ("to", "from")
    ]
    found = rows(" UNION ".join(sides), params * 2)
    moments = as_moments(row[2] for row in found)
    return [
        DatedFlow(flow, event, when, a, b, n, bool(reversal))
        for (flow, event, _, a, b, n, reversal), when in zip(found, moments, strict=True)
    ]


def flows_across(
    causes: Iterable[str], *, since: datetime, before: datetime, known_at: datetime | None = None
) -> list[DatedFlow]:
    """Every flow across the wall of the house for ``causes``, as "died", in no order. One query."""
    listed = list(causes)
    entered, more = known(known_at)
    params = [*listed, moment(since), moment(before), *more]
    sides = [
        "SELECT f.id, f.event_id, f.effective_at, f.from_cell_id, f.to_cell_id, f.n, f.reversal"
        " FROM book_account a JOIN book_cell c ON c.account_id = a.id"
        f" JOIN book_flow f ON f.{end}_cell_id = c.id"
        f" WHERE a.cause IN ({', '.join(['%s'] * len(listed))})"
        f" AND f.effective_at >= %s AND f.effective_at < %s{entered}"
        for end in ("to", "from")
    ]
    found = rows(" UNION ALL ".join(sides), params * 2)
    moments = as_moments(row[2] for row in found)
    return [
        DatedFlow(flow, event, when, a, b, n, bool(reversal))
        for (flow, event, _, a, b, n, reversal), when in zip(found, moments, strict=True)
    ]


_ENDS = """
SELECT c.id, c.lot_id, l.taxon_id, l.unit, l.owner, a.place_id,
       COALESCE(p.kind = 'off_site', %s), c.sex, c.standing, a.cause
  FROM book_cell c
  JOIN book_lot l ON l.id = c.lot_id
  JOIN book_account a ON a.id = c.account_id
  LEFT JOIN book_place p ON p.id = a.place_id
 WHERE """


def cell_ends(cells: Iterable[int]) -> dict[int, CellEnd]:
    """What the given cells are, inside or outside, by cell id. One query."""
    condition, ids = among("c.id", cells)
    make = CellEnd._make
    return {row[0]: make(row[1:]) for row in rows(_ENDS + condition, [False, *ids])}
