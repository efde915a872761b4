"""The most animals of some sources that can be in some places: maximum flows, all pools in one graph.

Where evidence is left that has several ways back, sources can no longer be taken one by one, and a
program in whole numbers with one flow for each source that evidence names is solved instead. Such programs
have no good worst case, so above a size the question is asked in two colours (:meth:`Held._in_two_colours`):
the answer is then never too narrow, and may be too wide.
"""

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Collection, Hashable, Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds as Between
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import coo_array, csr_array, eye_array, kron
from scipy.sparse.csgraph import maximum_flow

from .shares_build import Contradicted, Demand, Network
from .shares_compress import components
from .shares_steps import Place, Source

Whole = NDArray[np.int64]
# What the maximum flow of scipy can hold in one number.
MOST_ANIMALS = 2**31 - 1
# Numbers to be found in a program that is still solved in whole numbers. One of 1,000 took 0.04 s of the
# processor, of 4,000 0.3 to 0.6 s, of 7,000 8 s, of 13,000 more than 100 s; a page asks a hundred.
WHOLE_NUMBERS = 2_500


class Pools:
    """The nodes of the components in which evidence leaves no open end, as arrays."""

    def __init__(self, network: Network, nodes: Collection[int]) -> None:
        component = components(network)
        # Nodes of a component stand together; those alone in theirs are answered without a flow.
        order = sorted(nodes, key=lambda node: (component[node], node))
        self.index = {node: i for i, node in enumerate(order)}
        self.size = len(order)
        tail = [(self.index[a], self.index[b], n) for a in order for b, n in network.edges[a].items()]
        self.edges: Whole = np.array(tail, dtype=np.int64).reshape(-1, 3)
        self.arriving = _by_key(self.index, network.arrivals)
        self.ending = _by_key(self.index, network.sinks)
        self.all_ends: Whole = np.array([sum(network.sinks[node].values()) for node in order], dtype=np.int64)
        self.component: Whole = np.array([component[node] for node in order], dtype=np.int64)
        _, self.component, sizes = np.unique(self.component, return_inverse=True, return_counts=True)
        self.alone = sizes[self.component] == 1 if self.size else np.zeros(0, dtype=bool)

    def arrivals(self, sources: Iterable[Source]) -> Whole:
        """Animals of ``sources`` that arrive, node by node."""
        return self._summed(self.arriving, sources)

    def ends(self, places: Iterable[Place]) -> Whole:
        """Animals that end in ``places``, node by node, whosesoever."""
        return self._summed(self.ending, places)

    def _summed(self, numbers: dict[Hashable, Whole], keys: Iterable[Hashable]) -> Whole:
        total = np.zeros(self.size, dtype=np.int64)
        for key in keys:
            if key in numbers:
                total[numbers[key][:, 0]] += numbers[key][:, 1]
        return total

    def most(self, arrivals: Whole, ends: Whole) -> int:
        """The most of ``arrivals`` that can go to ``ends``."""
        limit = np.minimum(arrivals, ends)
        answer = int(limit[self.alone].sum())
        # Components to which none of these sources came are left out.
        arrives = np.zeros(self.size, dtype=np.bool_)
        arrives[self.component[(arrivals > 0) & ~self.alone]] = True
        wanted = arrives[self.component] & ~self.alone
        if not wanted.any() or not ends[wanted].any():
            return answer
        return answer + _maximum(self.edges, np.flatnonzero(wanted), arrivals, ends)


def _maximum(edges: Whole, nodes: Whole, arrivals: Whole, ends: Whole) -> int:
    """The maximum flow from ``arrivals`` to ``ends`` through ``nodes``."""
    if arrivals.sum() > MOST_ANIMALS:
        raise OverflowError(f"more than {MOST_ANIMALS} animals of one source")
    number = np.full(len(arrivals), -1, dtype=np.int64)
    number[nodes] = np.arange(1, len(nodes) + 1)
    last = len(nodes) + 1
    inner = edges[number[edges[:, 0]] > 0]
    starts, stops = nodes[arrivals[nodes] > 0], nodes[ends[nodes] > 0]
    tail = np.concatenate([number[inner[:, 0]], np.zeros(len(starts), dtype=np.int64), number[stops]])
    head = np.concatenate([number[inner[:, 1]], number[starts], np.full(len(stops), last)])
    n = np.concatenate([inner[:, 2], arrivals[starts], ends[stops]])
    n = np.minimum(n, MOST_ANIMALS).astype(np.int32)
    graph: Any = csr_array(coo_array((n, (tail, head)), shape=(last + 1, last + 1)))
    return int(maximum_flow(graph, 0, last).flow_value)


def _by_key(index: dict[int, int], numbers: dict[int, dict[Any, int]]) -> dict[Hashable, Whole]:
    """For each source or place its nodes and numbers."""
    found: defaultdict[Hashable, list[tuple[int, int]]] = defaultdict(list)
    for node, i in index.items():
        for key, n in numbers[node].items():
            found[key].append((i, n))
    return {key: np.array(pairs, dtype=np.int64) for key, pairs in found.items()}


class Held:
    """One component in which evidence has several ways back to its source."""

    def __init__(self, network: Network, nodes: Collection[int], demands: Collection[Demand]) -> None:
        self.index = {node: i for i, node in enumerate(sorted(nodes))}
        self.arrivals = [network.arrivals[node] for node in self.index]
        self.edges = [
            (self.index[a], self.index[b], n) for a in self.index for b, n in network.edges[a].items()
        ]
        self.sinks = [(self.index[a], place, n) for a in self.index for place, n in network.sinks[a].items()]
        self.demands = sorted(demands, key=lambda demand: demand.step)
        self.named = sorted({demand.source for demand in demands}, key=repr)
        ways = len(self.edges) + len(self.sinks) + len(self.demands)
        self.exact = (len(self.named) + 1) * ways <= WHOLE_NUMBERS

    def check(self) -> None:
        """Raises :class:`Contradicted` with the first evidence that cannot be true with all before it."""

        def impossible(upto: int) -> bool:
            if self.exact:
                return self._solve(frozenset(), frozenset(), self.demands[:upto]) is None
            alone = (frozenset([source]) for source in self.named)
            return any(self._in_two_colours(source, frozenset(), upto) is None for source in alone)

        number = len(self.demands)
        if impossible(number):
            first = bisect_left(range(1, number), True, key=impossible)
            raise Contradicted(self.demands[first].step)

    def supply(self, sources: Collection[Source]) -> int:
        """Animals of ``sources`` that end in some place, whichever."""
        arrive = sum(n for numbers in self.arrivals for source, n in numbers.items() if source in sources)
        return arrive - sum(demand.n for demand in self.demands if demand.source in sources)

    def most(self, sources: frozenset[Source], places: frozenset[Place], *, elsewhere: bool = False) -> int:
        """The most animals of ``sources`` that can be in ``places``, or in all other places."""
        if not any(source in sources for numbers in self.arrivals for source in numbers):
            return 0
        all_places = frozenset(place for _, place, _ in self.sinks)
        places = all_places - places if elsewhere else all_places & places
        if not places:
            return 0
        if places == all_places:
            return self.supply(sources)
        if self.exact:
            most = self._solve(sources, places, self.demands)
        else:
            most = self._in_two_colours(sources, places, len(self.demands))
            # Each source that evidence names was found possible; several of them together may still not be.
            most = self.supply(sources) if most is None else most
        assert most is not None, "checked before"
        return most

    def _in_two_colours(self, sources: frozenset[Source], places: frozenset[Place], upto: int) -> int | None:
        """The most of ``sources`` in ``places``, where evidence says of animals only whether their source is
        one of ``sources``; None where they cannot be so. ``upto`` is how much of the evidence is believed.

        One flow of one colour: it fills what evidence says is of the colour, and keeps out of what it says
        is not. As much more as possible into ``places`` never takes from what is filled (`shares`), so the
        maximum flow into both, less what evidence fills, is the answer.
        """
        size = len(self.index)
        arrive, fill, ends, elsewhere = (np.zeros(size, dtype=np.int64) for _ in range(4))
        for node, numbers in enumerate(self.arrivals):
            arrive[node] = sum(n for source, n in numbers.items() if source in sources)
        for node, place, n in self.sinks:
            (ends if place in places else elsewhere)[node] += n
        for number, demand in enumerate(self.demands):
            # Evidence that is not asked for yet is a way out like any other.
            if number >= upto:
                elsewhere[self.index[demand.node]] += demand.n
            elif demand.source in sources:
                fill[self.index[demand.node]] += demand.n
        edges: Whole = np.array(self.edges, dtype=np.int64).reshape(-1, 3)
        nodes = np.arange(size)
        if _maximum(edges, nodes, arrive, fill) < fill.sum():
            return None
        if _maximum(edges, nodes, arrive, fill + ends + elsewhere) < arrive.sum():
            return None
        return _maximum(edges, nodes, arrive, fill + ends) - int(fill.sum())

    def _solve(
        self, sources: frozenset[Source], places: frozenset[Place], demands: Collection[Demand]
    ) -> int | None:
        """One flow for each named source and one for all others asked for; None where there is none.

        What is left of each way is for everybody else: it balances because the whole does.
        """
        flows = [*(frozenset([source]) for source in self.named), sources.difference(self.named)]
        ways = [*self.edges, *((a, None, n) for a, _, n in self.sinks)]
        # Evidence that is not asked for yet is a way out like any other.
        ways += [(self.index[d.node], None, d.n) for d in self.demands if d not in demands]
        room = np.array([n for _, _, n in ways], dtype=np.float64)
        wanted = np.zeros((len(flows), len(ways)))
        for f, of_flow in enumerate(flows):
            if sources.issuperset(of_flow):
                for way, (_, place, _) in enumerate(self.sinks, start=len(self.edges)):
                    wanted[f, way] = place in places
        each = eye_array(len(flows))
        together = kron(np.ones((1, len(flows))), eye_array(len(ways)), format="csr")
        balance = np.concatenate([self._given(of_flow, demands) for of_flow in flows])
        answer: Any = milp(
            -wanted.ravel(),
            integrality=np.ones(wanted.size, dtype=np.int64),
            bounds=Between(0, np.tile(room, len(flows))),
            constraints=[
                LinearConstraint(kron(each, self._kept(ways), format="csr"), balance, balance),
                LinearConstraint(together, 0, room),
            ],
            options={"mip_rel_gap": 0},
        )
        if answer.status == _INFEASIBLE:
            return None
        if not answer.success:
            raise RuntimeError(f"no answer for {len(self.index)} nodes: {answer.message}")
        return int(np.rint(-answer.fun))

    def _given(self, sources: frozenset[Source], demands: Collection[Demand]) -> NDArray[np.float64]:
        """What arrives of ``sources`` at each node, less what evidence says has left it."""
        given = np.zeros(len(self.index))
        for node, numbers in enumerate(self.arrivals):
            given[node] = sum(n for source, n in numbers.items() if source in sources)
        for demand in demands:
            if demand.source in sources:
                given[self.index[demand.node]] -= demand.n
        return given

    def _kept(self, ways: Sequence[tuple[int, int | None, int]]) -> Any:
        """Nodes by ways: 1 where a way leaves the node, -1 where it comes in."""
        ends = [(a, way, 1) for way, (a, _, _) in enumerate(ways)]
        ends += [(b, way, -1) for way, (_, b, _) in enumerate(ways) if b is not None]
        row, column, sign = zip(*ends, strict=True)
        return coo_array((sign, (row, column)), shape=(len(self.index), len(ways)))


_INFEASIBLE = 2
