"""What must hold of every event: pure checks over plain values, each a list of what is wrong."""

from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Any

from .chain import event_hash
from .kinds import ARRIVALS, DEPARTURES, EventKind
from .ranges import RANGED, Bounds, problems
from .running import MISSING, PRESENT, FlowDraft, outside_account


def chain_problems(
    event: Any, flows: Sequence[FlowDraft], last_id: int, last_hash: str, bounds: Bounds | None = None
) -> list[str]:
    """The event stands where its number says, and is what its hash covers."""
    problems = []
    if event.id != last_id + 1:
        problems.append(f"events {last_id + 1} to {event.id - 1} are missing")
    if event.previous_hash != last_hash:
        problems.append("does not carry the hash of the event before it")
    if event.hash != event_hash(event.previous_hash, event, flows, bounds):
        problems.append("differs from what its hash covers: the event, its flows or its range were changed")
    return problems


def flow_problems(kind: EventKind, flows: Sequence[FlowDraft]) -> list[str]:
    """The flows are such as the kind makes. Reversals are looked at beside what they reverse."""
    if not flows:
        return ["has no flow"]
    problems = [f"moves {flow.n}: a flow is of one animal or more" for flow in flows if flow.n < 1]
    problems += ["has a flow from a cell to itself" for flow in flows if flow.from_cell == flow.to_cell]
    if kind is not EventKind.REVERSED:
        problems += [
            f"is {kind} but has a flow from {flow.from_cell.account} to {flow.to_cell.account}"
            for flow in flows
            if not _suits(kind, flow)
        ]
    return problems


def range_problems(kind: EventKind, flows: Sequence[FlowDraft], bounds: Bounds) -> list[str]:
    """The bounds stand on both sides of the number, and are of a kind that may have some."""
    number = sum(flow.n for flow in flows)
    found = problems(number, bounds, may_be_one=kind in RANGED)
    return [f"its range does not hold, {field}: {words}" for field, words in found]


def mirror_problems(flows: Iterable[FlowDraft], reversed_flows: Iterable[FlowDraft]) -> list[str]:
    """A reversal runs exactly the flows of its event backwards."""
    backwards = Counter(FlowDraft(flow.to_cell, flow.from_cell, flow.n) for flow in reversed_flows)
    return [] if Counter(flows) == backwards else ["does not take back just what its event did"]


def _suits(kind: EventKind, flow: FlowDraft) -> bool:
    from_cell, to_cell, _ = flow
    if kind in ARRIVALS:
        return from_cell.account == outside_account(kind) and to_cell.inside
    if kind in DEPARTURES:
        return from_cell.inside and to_cell.account == outside_account(kind)
    if kind is EventKind.SEEN_AGAIN:
        back = from_cell.standing == MISSING or from_cell.account == outside_account(EventKind.UNACCOUNTED)
        return back and to_cell.inside and to_cell.standing == PRESENT
    both_inside = from_cell.inside and to_cell.inside
    same_place = from_cell.account == to_cell.account
    if kind is EventKind.MISSING:
        return both_inside and same_place and (from_cell.standing, to_cell.standing) == (PRESENT, MISSING)
    if kind is EventKind.REGROUPED:
        return both_inside and same_place
    return both_inside and not same_place and from_cell.lot == to_cell.lot
