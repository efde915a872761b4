"""The even share: what is expected when every animal of a box is as likely to go as any other.

At each node the animals of all sources go on in proportion, which is one linear equation a node and
source. Animals that evidence names are set apart first, back to where they arrived: along the ways by
which they can have come, in proportion to what else of their source went there. The numbers are
floating: each is a sum of products of ratios without subtraction, so its relative error is a few times
the number of nodes on its way times 1e-16; a test holds them to fractions.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array, csc_array, csr_array, eye_array
from scipy.sparse.linalg import splu

from .shares_build import Network
from .shares_steps import Place, Source

Real = NDArray[np.float64]
# Below this many animals, a number below zero is an error of floating, not an answer.
_NOTHING = 1e-9


class Even:
    """Even shares of all sources in all places, of one network without what is settled."""

    def __init__(self, network: Network, nodes: list[int]) -> None:
        self.nodes = {node: i for i, node in enumerate(nodes)}
        self.sources = _numbered(source for node in nodes for source in network.arrivals[node])
        self.places = _numbered(place for node in nodes for place in network.sinks[node])
        index = self.nodes
        ways = [(index[a], index[b], n) for a in nodes for b, n in network.edges[a].items()]
        table = np.array(ways, dtype=np.int64).reshape(-1, 3)
        self.tail, self.head, self.n = table[:, 0], table[:, 1], table[:, 2]
        self.arrivals = np.zeros((len(nodes), len(self.sources)))
        ends = []
        for node, i in index.items():
            for source, n in network.arrivals[node].items():
                self.arrivals[i, self.sources[source]] = n
            for place, n in network.sinks[node].items():
                ends.append((i, self.places[place], n))
        at, place_at, ending = np.array(ends, dtype=np.int64).reshape(-1, 3).T
        # Sparse, for there can be as many places as boxes.
        self.sinks = csr_array((ending.astype(float), (at, place_at)), shape=(len(nodes), len(self.places)))
        self.out = np.zeros(len(nodes))
        np.add.at(self.out, at, ending)
        np.add.at(self.out, self.tail, self.n)
        self.table = self._table(network)

    def _table(self, network: Network) -> Real | None:
        """Sources by places; None where what evidence names does not fit into the even shares."""
        named: dict[int, Real] = {}
        out = self.out.copy()
        for demand in network.demands:
            if demand.node in self.nodes:
                of_source = named.setdefault(self.sources[demand.source], np.zeros(len(self.nodes)))
                of_source[self.nodes[demand.node]] += demand.n
                out[self.nodes[demand.node]] += demand.n
        if not named:
            return self._shared(self.arrivals, self.n, out)
        through = self._through(self.arrivals, self.n, out)
        arrivals, ways = self.arrivals.copy(), self.n.astype(float)
        for source, wanted in named.items():
            came, apart, all_apart = self._set_apart(through[:, source], wanted, out, source)
            arrivals[:, source] -= came
            ways -= apart
            out -= all_apart
        fits = min(arrivals.min(initial=0), ways.min(initial=0), out.min(initial=0)) > -_NOTHING
        return self._shared(arrivals.clip(0), ways.clip(0), out) if fits else None

    def _through(self, arrivals: Real, ways: Any, out: Real) -> Real:
        """Animals of each source that come through each node."""
        share = np.divide(ways, out[self.tail], out=np.zeros(len(self.tail)), where=out[self.tail] > _NOTHING)
        return self._solved(self.head, self.tail, share, arrivals)

    def _shared(self, arrivals: Real, ways: Any, out: Real) -> Real:
        through = self._through(arrivals, ways, out)
        mixed = np.divide(through, out[:, None], out=np.zeros_like(through), where=out[:, None] > _NOTHING)
        table: Real = (self.sinks.T @ mixed).T
        return table

    def _set_apart(self, through: Real, wanted: Real, out: Real, source: int) -> tuple[Real, Real, Real]:
        """What evidence names of one source, back to its arrivals: at arrivals, on ways, and at nodes."""
        on_way = through[self.tail] * self.n / out[self.tail]
        possible = through[self.head] > 0
        back = np.divide(on_way, through[self.head], out=np.zeros(len(self.head)), where=possible)
        needed = self._solved(self.tail, self.head, back, wanted[:, None])[:, 0]
        arrived = np.divide(self.arrivals[:, source], through, out=np.zeros(len(through)), where=through > 0)
        return needed * arrived, needed[self.head] * back, needed

    def _solved(self, row: Any, column: Any, share: Real, given: Real) -> Real:
        """x with x = given + share of x at the other nodes."""
        size = len(self.nodes)
        matrix = csc_array(eye_array(size) - coo_array((share, (row, column)), shape=(size, size)))
        solved: Real = splu(matrix).solve(given)
        return solved

    def of(self, source: Source, place: Place) -> float | None:
        """The even share of one source in one place."""
        if source not in self.sources or place not in self.places:
            return 0.0
        if self.table is None:
            return None
        return float(self.table[self.sources[source], self.places[place]])


def _numbered(keys: Any) -> dict[Any, int]:
    return {key: i for i, key in enumerate(dict.fromkeys(keys))}
