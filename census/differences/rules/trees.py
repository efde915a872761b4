"""The cheapest set of causes of a few lines that pairs join, by trees. Exact, and quick where it applies.

Between a line that is short and one that is over, what a pair costs is concave: once for the cause, then
by the animal. Take a cheapest set whose pairs close a circle. Animals can be pushed round it, up on every
other pair and down on the rest, and no line notices; the cost changes evenly, so that one of the two ways
round costs no more, and it ends when a pair has none left. So some cheapest set has pairs that close no
circle, and each such set lies in a spanning tree of the pairs. A tree is solved from its leaves inwards,
by tables of whole numbers. (Concave flows have answers without circles: Zangwill 1968, Minimum concave
cost flows in certain networks, Management Science 14; from memory.)

It applies where every line only gives or only gets by pairs, no pair is whole or bounded below what is
to be explained, and the trees are few enough to try them all.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from .alone import enumerate_alone
from .model import Candidate, Component

TREES = 1000
# Beyond so many animals the tables are slower than the integer programme.
ANIMALS = 400
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
    gives, gets = {one.loses for one in pairs}, {one.gains for one in pairs}
    bounded = any(one.whole or one.noise or one.least > 1 or one.most < needed for one in pairs)
    edges = len(part.differences) - 1
    if gives & gets or bounded or needed > ANIMALS or comb(len(pairs), edges) > TREES:
        return None
    lines = {node: _Line(part, node, -1 if node in gives else 1, needed) for node in part.differences}
    best: tuple[float, dict[str, int]] | None = None
    for tree in _spanning(list(part.differences), pairs):
        cost, amounts = _Tree(lines, tree, needed).solved()
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
    """``left[z]``: the cheapest single causes when pairs have taken ``z`` animals off it, or brought them."""

    def __init__(self, part: Component, node: str, way: int, needed: int) -> None:
        bound = 4 * needed + 2
        table = _single_costs(_singles(part, node), node, bound)
        rest = part.differences[node] - way * np.arange(needed + 1)
        self.left: Table = table[rest + bound]
        index = np.add.outer(np.arange(needed + 1), np.arange(needed + 1))
        padded = np.concatenate([self.left, np.full(needed + 1, np.inf)])
        self.with_more: Any = padded[index]


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


@dataclass(slots=True)
class _Tree:
    """One spanning tree, solved from the leaves to the first line and read back from there."""

    lines: dict[str, _Line]
    pairs: tuple[Candidate, ...]
    needed: int

    def solved(self) -> tuple[float, dict[str, int]]:
        beside: dict[str, list[Candidate]] = defaultdict(list)
        for one in self.pairs:
            beside[one.gains].append(one)
            beside[one.loses].append(one)
        top = next(iter(self.lines))
        sums: dict[str, list[tuple[Candidate, str, Table, Table]]] = {}
        totals: dict[str, Table] = {}
        below = self._tables(top, "", beside, sums, totals)
        amounts: dict[str, int] = {}
        self._read(top, 0, sums, totals, amounts)
        return float(below[0]), amounts

    def _tables(
        self,
        node: str,
        above: str,
        beside: dict[str, list[Candidate]],
        sums: dict[str, list[tuple[Candidate, str, Table, Table]]],
        totals: dict[str, Table],
    ) -> Table:
        """Cost of the tree from ``node`` down, by how many animals the pair above it has."""
        total: Table | None = None
        sums[node] = []
        for one in beside[node]:
            other = one.loses if one.gains == node else one.gains
            if one.key == above:
                continue
            below = self._tables(other, one.key, beside, sums, totals)
            cost = below + one.each * np.arange(self.needed + 1)
            cost[1:] += one.fixed
            sums[node].append((one, other, cost, total))
            total = cost if total is None else _added(total, cost)
        if total is None:
            return self.lines[node].left
        totals[node] = total
        return (self.lines[node].with_more + total).min(axis=1)

    def _read(
        self,
        node: str,
        brought: int,
        sums: dict[str, list[tuple[Candidate, str, Table, Table]]],
        totals: dict[str, Table],
        amounts: dict[str, int],
    ) -> None:
        if not sums[node]:
            return
        n = int((self.lines[node].with_more[brought] + totals[node]).argmin())
        for one, other, cost, before in reversed(sums[node]):
            part = n if before is None else int((cost[: n + 1] + before[n::-1]).argmin())
            if part:
                amounts[one.key] = part
            self._read(other, part, sums, totals, amounts)
            n -= part


def _added(first: Table, second: Table) -> Table:
    """The cheapest ways to share each number between two tables."""
    size = len(first)
    table = np.full((size, size), np.inf)
    for n in range(size):
        table[n, n:] = first[n] + second[: size - n]
    return table.min(axis=0)
