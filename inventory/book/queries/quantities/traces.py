"""What happened to the animals of some lots, step by step, through every lot they share animals with."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from typing import NamedTuple

from inventory.book.rules.ends import CellEnd
from inventory.book.rules.kinds import ARRIVALS, EventKind

from .flows import cell_ends, flows_of_lots
from .of_kinds import OfKinds
from .sql import among, rows


class TracedFlow(NamedTuple):
    """``n`` animals from one cell to another, with what their event says of them."""

    event_id: int
    effective_at: datetime
    from_cell: int
    to_cell: int
    n: int
    kind: str
    party: str
    permit_number: str


class Traced(NamedTuple):
    """Flows in the order in which they happened, what their cells are, and the lots that share animals:
    each lot with the smallest id among those it shares animals with, directly or through others."""

    flows: list[TracedFlow]
    ends: dict[int, CellEnd]
    family: dict[int, int]


def traced_flows(lots: Iterable[int], *, before: datetime, known_at: datetime | None = None) -> Traced:
    """Every flow of ``lots``, and of all lots that ever gave animals to them or got some, before ``before``.

    What was reversed is left out with its reversal: it did not happen. Of one moment arrivals come
    first, then as entered. Five queries at most, none for no lots.
    """
    lots = set(lots)
    if not lots:
        return Traced([], {}, {})
    family = _families()
    wanted = {family.get(lot, lot) for lot in lots}
    among_them = {lot for lot, first in family.items() if first in wanted} | wanted
    flows = flows_of_lots(among_them, before=before, known_at=known_at)
    events = _events({flow.event_id for flow in flows})
    undone = {reverses for _, _, _, reverses in events.values() if reverses is not None}
    traced = []
    for flow in flows:
        kind, party, permit_number, _ = events[flow.event_id]
        if kind != EventKind.REVERSED and flow.event_id not in undone:
            order = (flow.effective_at, kind not in ARRIVALS, flow.event_id, flow.flow_id)
            ends_of = (flow.from_cell, flow.to_cell)
            said = TracedFlow(flow.event_id, flow.effective_at, *ends_of, flow.n, kind, party, permit_number)
            traced.append((order, said))
    ordered = [flow for _, flow in sorted(traced)]
    ends = cell_ends({cell for flow in ordered for cell in (flow.from_cell, flow.to_cell)})
    return Traced(ordered, ends, {lot: family.get(lot, lot) for lot in among_them})


# Every pair, also of what was reversed: to look at one lot too many changes no answer. The few events are
# found first; left to choose, SQLite reads all flows.
_PAIRS = """
SELECT a.lot_id, b.lot_id
  FROM book_flow f
  JOIN book_cell a ON a.id = f.from_cell_id
  JOIN book_cell b ON b.id = f.to_cell_id
 WHERE f.event_id IN (SELECT id FROM book_event WHERE kind = 'regrouped') AND a.lot_id <> b.lot_id
"""


def forget() -> None:
    """What is remembered; for who measures."""
    _families.forget()


def lots_that_share(lots: Iterable[int]) -> dict[int, set[int]]:
    """Of each of these lots all that ever gave animals to it or got some, directly or through others, and
    itself. Two queries at most."""
    family = _families()
    members: defaultdict[int, set[int]] = defaultdict(set)
    for lot, first in family.items():
        members[first].add(lot)
    return {lot: members[family[lot]] if lot in family else {lot} for lot in lots}


def _read_families() -> dict[int, int]:
    """Each lot that shares animals with others, with the smallest id among them. One query."""
    neighbours: defaultdict[int, list[int]] = defaultdict(list)
    for one, other in set(rows(_PAIRS, [])):
        neighbours[one].append(other)
        neighbours[other].append(one)
    family: dict[int, int] = {}
    for lot in sorted(neighbours):
        waiting = [] if lot in family else [lot]
        while waiting:
            member = waiting.pop()
            if member not in family:
                family[member] = lot
                waiting += neighbours[member]
    return family


# Read again when animals are regrouped.
_families = OfKinds([EventKind.REGROUPED], _read_families)


def _events(ids: Iterable[int]) -> dict[int, tuple[str, str, str, int | None]]:
    """Kind, party, permit number and what it reverses, of each event. One query."""
    condition, params = among("id", ids)
    sql = f"SELECT id, kind, party, permit_number, reverses_id FROM book_event WHERE {condition}"
    return {row[0]: (row[1], row[2], row[3], row[4]) for row in rows(sql, params)}
