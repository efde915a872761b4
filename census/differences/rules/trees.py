"""The cheapest set of causes of a few lines that pairs join, by trees. Exact, and quick where it applies.

What a pair costs is concave: once for the cause, then by the animal. Take a cheapest set whose pairs close
a circle. Animals can be pushed round it, more on the pairs that run with the push and fewer on those that
run against it, and no line notices; the cost changes evenly, so that one of the two ways round costs no
more, and it ends when a pair has none left. So some cheapest set has pairs that close no
circle, and each such set lies in a spanning tree of the pairs. A tree is solved from its leaves inwards,
by tables of whole numbers. (Concave flows have answers without circles: Zangwill 1968, Minimum concave
cost flows in certain networks, Management Science 14; from memory.)

It applies where no pair is whole or bounded below what is to be explained, and the trees are few enough
to try them all.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import comb
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from .alone import enumerate_alone
from .model import Candidate, Component

# Beyond so many numbers in all tables of all trees the integer programme is quicker.
NUMBERS = 30_000_000
Table = Any  # one-dimensional array of costs


def most_needed(part: Component) -> int:
    """No cheapest set has more animals on one pair: all differences, and what runs against them."""
    against = sum(one.most if one.whole else one.least for one in part.candidates if len(one.nodes) == 1)
    noise = sum(one.most for one in part.candidates if one.noise)
    return sum(abs(n) for n in part.differences.values()) + against + noise


def by_trees(part: Component) -> tuple[int, dict[str, int]] | None:
    """(cost, amounts) of a cheapest set, or ``None`` where trees do not apply."""
    pairs = [one for one in part.candidates if len(one.nodes) == 2]
    needed = most_needed(part)
    bounded = any(one.whole or one.noise or one.least > 1 or one.most < needed for one in pairs)
    edges = len(part.differences) - 1
    if bounded or comb(len(pairs), edges) * edges * 2 * needed**2 > NUMBERS:
        return None
    lines = {node: _Line(part, node, needed) for node in part.differences}
    shifts = _Shifts(needed)
    best: tuple[float, dict[str, int]] | None = None
    for tree in _spanning(list(part.differences), pairs):
        cost, amounts = _Tree(lines, tree, shifts).solved()
        if best is None or cost < best[0]:
            best = (cost, amounts)
    if best is None or not np.isfinite(best[0]):
        return None
    whole = _with_single_causes(part, best[1])
    return (part.cost_of(whole), whole) if whole is not None else None


def _with_single_causes(part: Component, pairs: dict[str, int]) -> dict[str, int] | None:
    """The amounts on pairs, with the cheapest single causes for what they leave on each line."""
    whole = dict(pairs)
    for node, rest in part.unexplained_by(pairs).items():
        ranked = enumerate_alone(Component({node: rest}, _singles(part, node)))
        if not ranked:
            return None
        whole |= ranked[0][1]
    return whole


def _singles(part: Component, node: str) -> list[Candidate]:
    return [one for one in part.candidates if one.nodes == (node,)]


class _Line:
    """``left[needed + s]``: the cheapest single causes when pairs have brought ``s`` animals (less than
    none: taken)."""

    def __init__(self, part: Component, node: str, needed: int) -> None:
        bound = 4 * needed + 2
        table = _single_costs(_singles(part, node), node, bound)
        brought = np.arange(-needed, needed + 1)
        self.left: Table = table[part.differences[node] - brought + bound]
        # One beyond the end: what no cheapest set needs.
        self.padded: Table = np.append(self.left, np.inf)


class _Shifts:
    """Where a table stands when a pair has added, or taken, 0, 1, 2 ... animals: one row for each."""

    def __init__(self, needed: int) -> None:
        self.needed = needed
        self.nothing: Table = np.full(2 * needed + 1, np.inf)
        self.nothing[needed] = 0
        self._at = {way: self._index(way) for way in (1, -1)}

    def _index(self, way: int) -> Any:
        end = 2 * self.needed + 1
        at = np.add.outer(way * np.arange(self.needed + 1), np.arange(end))
        return np.where((at < 0) | (at >= end), end, at)

    def moved(self, padded: Table, way: int) -> Any:
        return padded[self._at[way]]


def _single_costs(causes: Sequence[Candidate], node: str, bound: int) -> Table:
    """Cost of the cheapest single causes that come to each number from ``-bound`` to ``bound``."""
    table = np.full(2 * bound + 1, np.inf)
    table[bound] = 0
    for one in causes:
        turned = table if one.effect(node) > 0 else table[::-1]
        used = _used(turned, one, bound)
        table = np.minimum(table, used if one.effect(node) > 0 else used[::-1])
    return table


def _used(table: Table, one: Candidate, bound: int) -> Table:
    """The table with at least one animal of a cause that adds: a moving minimum, for it is linear."""
    size = len(table)
    used = np.full(size, np.inf)
    if one.whole:
        used[one.most :] = table[: size - one.most] + one.cost(one.most)
        return used
    numbers = np.arange(size)
    level = table - one.each * numbers
    if one.most >= bound:
        lowest = np.minimum.accumulate(level)
    else:
        before = np.concatenate([np.full(one.most - one.least, np.inf), level])
        lowest = sliding_window_view(before, one.most - one.least + 1).min(axis=1)
    used[one.least :] = lowest[: size - one.least] + one.each * numbers[one.least :]
    return used + one.fixed


def _spanning(nodes: Sequence[str], pairs: Sequence[Candidate]) -> Iterator[tuple[Candidate, ...]]:
    for chosen in combinations(pairs, len(nodes) - 1):
        parent = {node: node for node in nodes}

        def root(node: str, parent: dict[str, str] = parent) -> str:
            while parent[node] != node:
                node = parent[node]
            return node

        for one in chosen:
            first, second = root(one.gains), root(one.loses)
            if first == second:
                break
            parent[first] = second
        else:
            yield chosen


# Each pair below a line: its other end, its cost by animals, and the sums of the pairs before it.
Below = list[tuple[Candidate, str, Table, Table]]


@dataclass(slots=True)
class _Tree:
    """One spanning tree, solved from the leaves to the first line and read back from there."""

    lines: dict[str, _Line]
    pairs: tuple[Candidate, ...]
    shifts: _Shifts
    below: dict[str, Below] = field(default_factory=dict)
    sums: dict[str, Table] = field(default_factory=dict)

    def solved(self) -> tuple[float, dict[str, int]]:
        beside: dict[str, list[Candidate]] = defaultdict(list)
        for one in self.pairs:
            beside[one.gains].append(one)
            beside[one.loses].append(one)
        top = next(iter(self.lines))
        self._sum_up(top, None, beside)
        amounts: dict[str, int] = {}
        self._read(top, 0, amounts)
        return float((self.lines[top].left + self.sums[top]).min()), amounts

    def _sum_up(self, node: str, above: Candidate | None, beside: dict[str, list[Candidate]]) -> None:
        """What the pairs below a line cost, by how many animals they bring it together."""
        total, self.below[node] = self.shifts.nothing, []
        for one in beside[node]:
            if one is above:
                continue
            other = one.loses if one.gains == node else one.gains
            self._sum_up(other, one, beside)
            moved = self.shifts.moved(self.lines[other].padded, one.effect(other))
            cost = (moved + self.sums[other]).min(axis=1) + one.each * np.arange(self.shifts.needed + 1)
            cost[1:] += one.fixed
            self.below[node].append((one, other, cost, total))
            total = self._added(total, cost, one.effect(node)).min(axis=0)
        self.sums[node] = total

    def _added(self, total: Table, cost: Table, way: int) -> Any:
        """One row for each number of a pair: what it and the pairs before it cost."""
        return self.shifts.moved(np.append(total, np.inf), -way) + cost[:, None]

    def _read(self, node: str, brought: int, amounts: dict[str, int]) -> None:
        """``brought``: by the pair above. The number of each pair below that leads to the cheapest sum."""
        line, needed = self.lines[node], self.shifts.needed
        at = np.arange(-needed, needed + 1) + brought
        inside = abs(at) <= needed
        left = np.where(inside, line.left[np.where(inside, at + needed, 0)], np.inf)
        sum_of = int((left + self.sums[node]).argmin())
        for one, other, cost, before in reversed(self.below[node]):
            n = int(self._added(before, cost, one.effect(node))[:, sum_of].argmin())
            if n:
                amounts[one.key] = n
            self._read(other, one.effect(other) * n, amounts)
            sum_of -= one.effect(node) * n
