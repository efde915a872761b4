"""Source shares: of the animals of each source, how many are where, at least, at most and evenly.

**The question.** Animals of several sources stand in one tank, some die, some are moved, lots are joined
and split, and nobody can tell whose they are. The book knows only how many went from which box to which,
in date order. An *assignment* gives every animal its source for ever; it is possible when every step
takes animals that its box held then. Least and most are over all possible assignments.

**One question is a flow.** Take any set S of sources, and colour an animal when its source is in S. Draw
each box once for each time between two of its steps, and join those of one box in order by a way that is
as wide as what the box held (`shares_build`). The coloured animals of an assignment make a flow of whole
numbers: they arrive where S arrives, are kept at each node, and no way takes more of them than its width.
*The other way round*, any such flow f is an assignment: at each node the widths of what comes and of what
goes are equal in sum, so the widths less f are kept at each node too, and are the flow of the others. By
induction over the steps the box holds f coloured animals and the rest of others when the step takes f of
the one and the rest of the other. Which source within S, and which of the others, is any assignment of
either flow to its arrivals. So least and most are over the flows of one network, and a set of places is
asked as one set of sinks, never added up from its parts.

**The flow is a maximum flow.** All of S ends somewhere. A flow from S into the places T that carries as
much as possible can be made to carry all of S, by ways that never take from T what goes there (each
augmenting way ends in a new sink). So *most* is the maximum flow from the arrivals of S to T, *least* is
all of S less the maximum flow to all other places, and both are whole numbers, because the widths are
(Ford and Fulkerson 1962, integrity theorem; from memory). `shares_compress` makes the network small by
rules that change no answer, and `shares_bounds` solves one graph of all pools together.

**What evidence says.** Animals known to be of a source (a death of a marked one) leave their node as that
many of that source, and are of that source where they go. Where they can have come one way only, they are
taken out along it, as deaths of known source lower their source first. Where several ways are open,
one flow for each source that evidence names must fit at the same time, which is a program in whole numbers,
solved for that component alone; where that is too large, evidence is asked only whether an animal is of S
or not, which is one flow again: bounds are then never too narrow, but can be too wide (``widened``).
Evidence that contradicts the book, or earlier evidence, is set aside and named, for a wrong word about one
animal must not silence the rest.

**Date order** is kept by the network: nothing of a source is in a box before it came. Where a group stands
below zero, what came later had left earlier, and the way leads back (`shares_build`).

**Even** is the expectation when each step draws from its box without looking (`shares_even`).

Limits: whole animals below 2**31 of each set of sources; evidence names a source, not the animal.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Iterable, Mapping, Sequence
from typing import TypeVar

from .shares_bounds import Held, Pools
from .shares_build import Contradicted, Demand, Network, build
from .shares_compress import components, compress
from .shares_even import Even
from .shares_steps import NOT_ON_THE_BOOKS, Bounds, Box, Place, Seen, Source, Step

__all__ = ["NOT_ON_THE_BOOKS", "Bounds", "Box", "Place", "Seen", "Shares", "Source", "Step"]

Group = TypeVar("Group", bound=Hashable)
Together = TypeVar("Together", bound=Hashable)

# An even share outside the bounds by more than this is none.
_ROUNDING = 1e-6


class Shares:
    """Answers for one list of steps, in date order. ``place_of`` says in which place, or by which fate,
    the animals of a box are counted.

    ``set_aside`` are the numbers of the steps whose evidence contradicts the rest.
    """

    def __init__(self, steps: Sequence[Step | Seen], place_of: Callable[[Box], Place]) -> None:
        network, self.set_aside, held = _without_contradictions(steps, place_of)
        self._settled = network.settled
        of_held = {node for demands in held for node in demands[1]}
        open_nodes = [node for node in network.arrivals if node not in of_held]
        self._pools = Pools(network, open_nodes)
        self._held = [component for component, _ in held]
        self._even = [Even(network, open_nodes), *(Even(network, nodes) for _, nodes in held)]
        self.sources = frozenset(
            {source for source, _ in self._settled}.union(*(even.sources for even in self._even))
        )
        self.places = frozenset(
            {place for _, place in self._settled}.union(*(even.places for even in self._even))
        )

    def bounds(self, sources: Iterable[Source], places: Iterable[Place]) -> Bounds:
        """How many animals of ``sources``, taken together, are in ``places``, taken together."""
        of_sources, in_places = frozenset(sources) & self.sources, frozenset(places) & self.places
        sure = sum(self._settled.get((s, p), 0) for s in of_sources for p in in_places)
        most = self._most(of_sources, in_places)
        least = self._supply(of_sources) - self._most(of_sources, in_places, elsewhere=True)
        return Bounds(sure + least, sure + most, self._even_share(of_sources, in_places, sure, least, most))

    @property
    def widened(self) -> bool:
        """Some pool with evidence is so entangled that its bounds can be wider than they need be."""
        return not all(component.exact for component in self._held)

    def table(
        self, groups: Mapping[Group, Collection[Source]], places: Mapping[Together, Collection[Place]]
    ) -> dict[tuple[Group, Together], Bounds]:
        """The bounds of every group of sources in every set of places."""
        return {
            (group, together): self.bounds(sources, within)
            for group, sources in groups.items()
            for together, within in places.items()
        }

    def _supply(self, sources: frozenset[Source]) -> int:
        held = sum(component.supply(sources) for component in self._held)
        return int(self._pools.arrivals(sources).sum()) + held

    def _most(self, sources: frozenset[Source], places: frozenset[Place], *, elsewhere: bool = False) -> int:
        """The most of ``sources`` in ``places``, or in all other places."""
        held = sum(component.most(sources, places, elsewhere=elsewhere) for component in self._held)
        ends = self._pools.ends(places)
        return held + self._pools.most(
            self._pools.arrivals(sources), self._pools.all_ends - ends if elsewhere else ends
        )

    def _even_share(
        self, sources: frozenset[Source], places: frozenset[Place], sure: int, least: int, most: int
    ) -> float | None:
        share = 0.0
        for source in sources:
            for place in places:
                for even in self._even:
                    part = even.of(source, place)
                    if part is None:
                        return None
                    share += part
        if not least - _ROUNDING <= share <= most + _ROUNDING:
            return None
        return sure + min(max(share, least), most)


def _without_contradictions(
    steps: Sequence[Step | Seen], place_of: Callable[[Box], Place]
) -> tuple[Network, list[int], list[tuple[Held, list[int]]]]:
    """The small network, the evidence set aside, and the components in which evidence is left."""
    disbelieved: set[int] = set()
    while True:
        network, aside = build(steps, place_of, disbelieved)
        try:
            compress(network)
            held = _held(network)
            for component, _ in held:
                component.check()
        except Contradicted as contradicted:
            disbelieved.add(contradicted.step)
        else:
            return network, sorted(disbelieved.union(aside)), held


def _held(network: Network) -> list[tuple[Held, list[int]]]:
    component = components(network)
    demands: defaultdict[int, list[Demand]] = defaultdict(list)
    for demand in network.demands:
        demands[component[demand.node]].append(demand)
    nodes: defaultdict[int, list[int]] = defaultdict(list)
    for node, number in component.items():
        if number in demands:
            nodes[number].append(node)
    return [(Held(network, nodes[number], demands[number]), nodes[number]) for number in demands]
