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


class ArrivalBits(dict[tuple[str, str, str], int]):
    """The bit of each arrival by kind, party and permit; those of one label have the same.

    So all sources that a lot carries are one number, and what two lots carry is joined in one step.
    """

    def __init__(self) -> None:
        super().__init__()
        self._bits: dict[str, int] = {}
        self._words: list[str] = []
        self._joined: dict[int, str] = {}

    def __missing__(self, arrival: tuple[str, str, str]) -> int:
        kind, party, permit = arrival
        label = label_of_arrival(kind, party=party, permit=permit)
        if label not in self._bits:
            self._bits[label] = 1 << len(self._words)
            self._words.append(label)
        bit = self[arrival] = self._bits[label]
        return bit

    def label(self, bits: int) -> str:
        """The label of a lot that carries these. Many lots carry the same."""
        joined = self._joined.get(bits)
        if joined is None:
            joined = self._joined[bits] = label_of_lot(self._named(bits))
        return joined

    def _named(self, bits: int) -> list[str]:
        found = []
        while bits:
            lowest = bits & -bits
            found.append(self._words[lowest.bit_length() - 1])
            bits ^= lowest
        return found


def inherit(arrived: Mapping[int, int], edges: Iterable[tuple[int, int]]) -> dict[int, int]:
    """Bits of each lot with those of every lot that was regrouped into it, however far back.

    ``edges`` are (giver, taker) pairs, which may come twice; circles are allowed.
    """
    takers: defaultdict[int, set[int]] = defaultdict(set)
    for giver, taker in edges:
        takers[giver].add(taker)
    found = dict(arrived)
    waiting = [giver for giver in takers if giver in found]
    while waiting:
        giver = waiting.pop()
        given = found[giver]
        for taker in takers[giver]:
            own = found.get(taker, 0)
            both = own | given
            if both != own:
                found[taker] = both
                if taker in takers:
                    waiting.append(taker)
    return found
