"""Makes the network small without changing an answer.

Each rule keeps every set of possible answers, for inflows and outflows of a node are equal in number:

- a node with one inflow and nothing else coming is one with the node before it: what can go along the
  way between them is limited by what can go on from it;
- a node that only passes on to one other node is one with that, by the same reason turned round;
- a node all of whose animals end in one place is that place;
- a node that only one source comes into holds nothing uncertain;
- evidence that some animals are of a source, where they can have come one way only, is taken out along
  that way: those animals are then certain, and no others went there in their stead.
"""

from collections import defaultdict
from itertools import pairwise

from .shares_build import Contradicted, Demand, Network, add
from .shares_steps import Source


def compress(network: Network) -> None:
    """Applies every rule until none applies. Raises :class:`Contradicted`."""
    shrinker = _Shrinker(network)
    shrinker.shrink(list(network.arrivals))
    while touched := shrinker.take_out_what_is_known():
        shrinker.shrink(touched)
    network.demands = [demand for demands in shrinker.demands.values() for demand in demands]


class _Shrinker:
    def __init__(self, network: Network) -> None:
        self.network = network
        self.arrivals, self.edges, self.sinks = network.arrivals, network.edges, network.sinks
        self.inflows: dict[int, dict[int, int]] = {node: {} for node in self.arrivals}
        for node, onward in self.edges.items():
            for other, n in onward.items():
                self.inflows[other][node] = n
        self.demands: dict[int, list[Demand]] = {}
        for demand in network.demands:
            self.demands.setdefault(demand.node, []).append(demand)

    def shrink(self, waiting: list[int]) -> None:
        """Looks at each waiting node, and at those that change on the way."""
        while waiting:
            node = waiting.pop()
            if node not in self.arrivals:
                continue
            arrivals, inflows = self.arrivals[node], self.inflows[node]
            onward, sinks = self.edges[node], self.sinks[node]
            if not inflows and len(arrivals) <= 1:
                waiting += self._settle(node)
            elif len(inflows) == 1 and not arrivals:
                waiting += self._join_to_the_one_before(node)
            elif node not in self.demands and len(onward) == 1 and not sinks:
                waiting += self._join_to_the_one_after(node)
            elif node not in self.demands and len(sinks) == 1 and not onward:
                waiting += self._become_the_place(node)

    def _settle(self, node: int) -> list[int]:
        """One source comes in and nothing else."""
        [source] = self.arrivals[node] or [None]
        for demand in self.demands.pop(node, []):
            if demand.source != source:
                raise Contradicted(demand.step)
        for place, n in self.sinks[node].items():
            self.network.settled[source, place] += n
        onward = self.edges[node]
        for other, n in onward.items():
            del self.inflows[other][node]
            add(self.arrivals[other], source, n)
        self._forget(node)
        return list(onward)

    def _join_to_the_one_before(self, node: int) -> list[int]:
        [before] = self.inflows[node]
        del self.edges[before][node]
        for place, n in self.sinks[node].items():
            add(self.sinks[before], place, n)
        onward = self.edges[node]
        for other, n in onward.items():
            del self.inflows[other][node]
            self._link(before, other, n)
        for demand in self.demands.pop(node, []):
            demand.node = before
            self.demands.setdefault(before, []).append(demand)
        self._forget(node)
        return [before, *onward]

    def _join_to_the_one_after(self, node: int) -> list[int]:
        [after] = self.edges[node]
        del self.inflows[after][node]
        for source, n in self.arrivals[node].items():
            add(self.arrivals[after], source, n)
        inflows = self.inflows[node]
        for other, n in inflows.items():
            del self.edges[other][node]
            self._link(other, after, n)
        self._forget(node)
        return [after, *inflows]

    def _become_the_place(self, node: int) -> list[int]:
        [place] = self.sinks[node]
        for source, n in self.arrivals[node].items():
            self.network.settled[source, place] += n
        inflows = self.inflows[node]
        for other, n in inflows.items():
            del self.edges[other][node]
            add(self.sinks[other], place, n)
        self._forget(node)
        return list(inflows)

    def _link(self, one: int, other: int, n: int) -> None:
        """``n`` more can go from one node to another; a way back into itself leads nowhere."""
        if one != other:
            add(self.edges[one], other, n)
            add(self.inflows[other], one, n)

    def _forget(self, node: int) -> None:
        for numbers in (self.arrivals, self.edges, self.sinks, self.inflows):
            del numbers[node]

    def take_out_what_is_known(self) -> list[int]:
        """Evidence with one way back to its source, taken out along it. The nodes that changed."""
        touched: list[int] = []
        reached = {source: self._reached(source) for source in self._demanded()}
        for node in list(self.demands):
            left = []
            for demand in self.demands[node]:
                way = self._one_way_back(demand, reached[demand.source])
                if way is None:
                    left.append(demand)
                else:
                    self._take_out(demand, way)
                    touched += way
            if left:
                self.demands[node] = left
            else:
                del self.demands[node]
        return touched

    def _demanded(self) -> set[Source]:
        return {demand.source for demands in self.demands.values() for demand in demands}

    def _reached(self, source: Source) -> set[int]:
        """Nodes where animals of ``source`` can be."""
        waiting = [node for node, arrivals in self.arrivals.items() if source in arrivals]
        reached = set(waiting)
        while waiting:
            for other in self.edges[waiting.pop()]:
                if other not in reached:
                    reached.add(other)
                    waiting.append(other)
        return reached

    def _one_way_back(self, demand: Demand, reached: set[int]) -> list[int] | None:
        """From the node of the demand back to the arrival; None where ways part."""
        way = [demand.node]
        while True:
            node = way[-1]
            before = [other for other in self.inflows[node] if other in reached]
            arrives = demand.source in self.arrivals[node]
            if not before and not arrives:
                raise Contradicted(demand.step)
            if len(before) + arrives > 1 or (before and before[0] in way):
                return None
            if arrives:
                return way
            way += before

    def _take_out(self, demand: Demand, way: list[int]) -> None:
        for node, before in pairwise(way):
            left = self.edges[before].pop(node) - demand.n
            del self.inflows[node][before]
            if left < 0:
                raise Contradicted(demand.step)
            if left:
                self._link(before, node, left)
        left = self.arrivals[way[-1]].pop(demand.source) - demand.n
        if left < 0:
            raise Contradicted(demand.step)
        if left:
            self.arrivals[way[-1]][demand.source] = left


def components(network: Network) -> dict[int, int]:
    """The number of the component of each node; components share no animals."""
    neighbours: defaultdict[int, list[int]] = defaultdict(list)
    for node, onward in network.edges.items():
        for other in onward:
            neighbours[node].append(other)
            neighbours[other].append(node)
    found: dict[int, int] = {}
    count = 0
    for start in network.arrivals:
        if start in found:
            continue
        found[start] = count
        waiting = [start]
        while waiting:
            for other in neighbours[waiting.pop()]:
                if other not in found:
                    found[other] = count
                    waiting.append(other)
        count += 1
    return found
