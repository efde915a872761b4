"""The label of a source, and how pools inherit the sources of what was put into them.

A label names a kind of arrival in the trade's words; a permit stands under its own number. No
animal of a pool is given to one source: the pool carries them all.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from functools import cache

from .kinds import EventKind

# Kinds of arrival whose label is the same whatever else the event says.
_PLAIN: dict[str, str] = {
    EventKind.BORN: "born here",
    EventKind.DIVIDED: "divided",
    EventKind.SETTLED: "settled",
    EventKind.FOUND: "found",
}


@cache
def label_of_arrival(kind: str, *, party: str = "", permit: str = "") -> str:
    """Label of one arrival: ``kind`` is the outside cause that the animals came from."""
    if kind in _PLAIN:
        return _PLAIN[kind]
    if kind == EventKind.TAKEN:
        return permit or "taken, no permit named"
    if kind == EventKind.RECEIVED:
        return f"from {party}" if party else "received"
    if kind == EventKind.LOAN_IN:
        return f"on loan from {party}" if party else "on loan"
    if kind == EventKind.OPENING:
        return permit or "opening stock"
    raise ValueError(f"{kind!r} is not a kind of arrival")


def label_of_lot(labels: Collection[str]) -> str:
    """One label of all sources of a lot, in alphabetical order."""
    return " + ".join(sorted(labels)) if len(labels) > 1 else next(iter(labels), "")


def inherit(
    arrived: Mapping[int, Collection[str]], edges: Iterable[tuple[int, int]]
) -> dict[int, frozenset[str]]:
    """Labels of each lot with those of every lot that was regrouped into it, however far back.

    ``edges`` are (giver, taker) pairs; circles are allowed.
    """
    takers: defaultdict[int, set[int]] = defaultdict(set)
    for giver, taker in edges:
        takers[giver].add(taker)
    labels = {lot: frozenset(own) for lot, own in arrived.items()}
    waiting = [lot for lot in labels if lot in takers]
    nothing: frozenset[str] = frozenset()
    while waiting:
        giver = waiting.pop()
        for taker in takers[giver]:
            both = labels.get(taker, nothing) | labels[giver]
            if len(both) > len(labels.get(taker, nothing)):
                labels[taker] = both
                waiting.append(taker)
    return labels
