"""The model: lines with a difference, causes that may lie behind them, and what each would cost.

A *node* is one line of the census with its difference: count minus book. A *candidate* is one cause
that may have been at work: it changes one node, or takes animals from one node and gives them to
another, a whole number at a time. A set of causes is *consistent* when on every node its effects add
up to the difference exactly; nothing is netted, and what no cause explains is itself a candidate
called unexplained. A candidate that is used costs ``fixed``, and ``each`` for every animal: costs are
minus log likelihoods in thousandths of a nat, whole numbers, so that sums are exact and few likely
causes win over many unlikely ones.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Candidate:
    """One cause that may be at work on one or two nodes.

    ``gains``: the node that has ``n`` more than its book by it; ``loses``: the node that has ``n`` fewer.
    One of them may be empty: the animals came from outside, or left. ``n`` is from ``least`` to
    ``most``, or exactly ``most`` where the cause is ``whole`` (an entry that was made twice cannot be
    taken back in part). ``noise``: the error of an estimate; it is no cause that somebody could accept,
    and sets that differ in noise alone are one set.
    """

    key: str
    gains: str
    loses: str
    fixed: int
    each: int
    most: int
    least: int = 1
    whole: bool = False
    noise: bool = False

    def __post_init__(self) -> None:
        if not (self.gains or self.loses) or self.gains == self.loses:
            raise ValueError(f"{self.key}: a cause changes one line, or moves between two")
        if self.fixed < 0 or self.each < 0 or not 1 <= self.least <= self.most:
            raise ValueError(f"{self.key}: costs are not below zero, and 1 <= least <= most")
        if self.noise and self.fixed:
            raise ValueError(f"{self.key}: noise has no fixed cost")

    @property
    def nodes(self) -> tuple[str, ...]:
        return tuple(node for node in (self.gains, self.loses) if node)

    def effect(self, node: str) -> int:
        """+1, -1 or 0: what one animal of it does to the difference of ``node``."""
        return (node == self.gains) - (node == self.loses)

    def cost(self, n: int) -> int:
        """Cost of ``n`` animals of it; nothing for none."""
        return self.fixed + self.each * n if n else 0


@dataclass(frozen=True, slots=True)
class Component:
    """Nodes that some candidate joins, with all candidates on them: a problem of its own."""

    differences: Mapping[str, int]
    candidates: Sequence[Candidate]

    def unexplained_by(self, amounts: Mapping[str, int]) -> dict[str, int]:
        """What ``amounts`` (by key) leave of each difference; all zero for a consistent set."""
        rest = dict(self.differences)
        for one in self.candidates:
            n = amounts.get(one.key, 0)
            for node in one.nodes if n else ():
                rest[node] -= one.effect(node) * n
        return rest

    def cost_of(self, amounts: Mapping[str, int]) -> int:
        """True cost of a set of causes."""
        return sum(one.cost(amounts.get(one.key, 0)) for one in self.candidates)

    def causes_of(self, amounts: Mapping[str, int]) -> frozenset[str]:
        """The keys that are used, noise left out: what makes two sets different ones."""
        return frozenset(one.key for one in self.candidates if amounts.get(one.key) and not one.noise)


def components(differences: Mapping[str, int], candidates: Iterable[Candidate]) -> list[Component]:
    """The model in its connected parts, each in a fixed order whatever the order of what is given.

    Raises :class:`ValueError` where a candidate names no known node or a key stands twice.
    """
    ordered = sorted(candidates, key=lambda one: one.key)
    parent = {node: node for node in differences}

    def root(node: str) -> str:
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = parent[node]
        return node

    for before, one in zip([None, *ordered], ordered, strict=False):
        if before is not None and before.key == one.key:
            raise ValueError(f"two candidates are called {one.key!r}")
        for node in one.nodes:
            if node not in parent:
                raise ValueError(f"{one.key}: there is no line {node!r}")
        if one.gains and one.loses:
            first, second = sorted((root(one.gains), root(one.loses)))
            parent[second] = first
    nodes: dict[str, list[str]] = defaultdict(list)
    for node in sorted(differences):
        nodes[root(node)].append(node)
    members: dict[str, list[Candidate]] = defaultdict(list)
    for one in ordered:
        members[root(one.nodes[0])].append(one)
    return [
        Component({node: differences[node] for node in group}, tuple(members[head]))
        for head, group in nodes.items()
    ]
