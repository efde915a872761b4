"""From steps in date order to the network of what is not certain.

As long as a box holds one source, everything about its animals is certain and no node is made for it.
A node is a box from one inflow that follows an outflow to the next such inflow: in between, first all
inflows come, then all outflows go, and among the latter the order has no bearing on whose they are.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from .shares_steps import NOT_ON_THE_BOOKS, Box, Place, Seen, Source, Step

Key = TypeVar("Key", bound=Hashable)


class Contradicted(Exception):
    """Evidence that cannot be true when everything before it is."""

    def __init__(self, step: int) -> None:
        super().__init__(f"step {step} contradicts those before it")
        self.step = step


@dataclass(slots=True)
class Demand:
    """``n`` animals of ``source`` leave ``node``, as evidence says; ``step`` said so. Where they go on to,
    they arrive as animals of that source."""

    node: int
    source: Source
    n: int
    step: int


@dataclass(slots=True)
class Network:
    """Nodes are numbers; at each, arrivals and inflows add up to outflows, sinks and demands.

    ``settled`` are animals about whom there is no doubt: (source, place) to number.
    """

    settled: defaultdict[tuple[Source, Place], int] = field(default_factory=lambda: defaultdict(int))
    arrivals: dict[int, dict[Source, int]] = field(default_factory=dict)
    edges: dict[int, dict[int, int]] = field(default_factory=dict)
    sinks: dict[int, dict[Place, int]] = field(default_factory=dict)
    demands: list[Demand] = field(default_factory=list)

    def node(self) -> int:
        """A new node."""
        number = len(self.arrivals)
        self.arrivals[number], self.edges[number], self.sinks[number] = {}, {}, {}
        return number


@dataclass(slots=True)
class _State:
    """What a box holds now: ``n`` animals, of one source while ``node`` is None."""

    n: int
    source: Source
    node: int | None = None
    leaving: bool = False


def build(
    steps: Sequence[Step | Seen], place_of: Callable[[Box], Place], without: Collection[int] = ()
) -> tuple[Network, list[int]]:
    """The network of ``steps``, and the evidence that was set aside: numbers of steps that contradict a
    box of one source. ``without`` are numbers of steps whose evidence is not believed."""
    builder = _Builder(steps, place_of)
    for number, step in enumerate(steps):
        if isinstance(step, Seen):
            if number not in without:
                builder.see(number, step)
        else:
            builder.take(number, step, known=step.source if number not in without else None)
    builder.finish()
    return builder.network, builder.aside


class _Builder:
    def __init__(self, steps: Iterable[Step | Seen], place_of: Callable[[Box], Place]) -> None:
        self.network = Network()
        self.aside: list[int] = []
        self.place_of = place_of
        self.boxes: dict[Box, _State] = {}
        # What never gives anything away needs no node: it is where animals end.
        self.gives = {step.from_box if isinstance(step, Step) else step.box for step in steps}

    def take(self, number: int, step: Step, known: Source | None) -> None:
        """One step."""
        from_box, to_box, n, source = step
        if n < 1 or from_box == to_box:
            raise ValueError(f"step {number} takes {n} from {from_box!r} to {to_box!r}")
        if from_box is None:
            if source is None:
                raise ValueError(f"step {number} arrives without a source")
            self.arrive(to_box, source, n)
            return
        state = self.boxes.get(from_box)
        if state is None:
            state = self.boxes[from_box] = _State(0, NOT_ON_THE_BOOKS)
        if state.node is None and 0 < n <= state.n:
            state.n -= n
            if known is not None and known != state.source:
                self.aside.append(number)
            self.arrive(to_box, state.source, n)
            return
        node = self._node(state)
        state.n -= n
        state.leaving = True
        if known is not None:
            self.network.demands.append(Demand(node, known, n, number))
            self.arrive(to_box, known, n)
        elif to_box not in self.gives:
            add(self.network.sinks[node], self.place_of(to_box), n)
        else:
            add(self.network.edges[node], self._receives(to_box), n)
            self.boxes[to_box].n += n

    def arrive(self, box: Box, source: Source, n: int) -> None:
        """``n`` animals of one source come into a box."""
        if box not in self.gives:
            self.network.settled[source, self.place_of(box)] += n
            return
        state = self.boxes.get(box)
        if state is None or state.n == 0:
            self.boxes[box] = _State(n, source)
            return
        if state.node is not None or state.source != source:
            add(self.network.arrivals[self._receives(box)], source, n)
        state.n += n

    def see(self, number: int, seen: Seen) -> None:
        """Cuts what is known of a box apart from the rest of it."""
        state = self.boxes.get(seen.box)
        if state is None or seen.n > state.n:
            self.aside.append(number)
        elif state.node is None:
            if state.source != seen.source:
                self.aside.append(number)
        else:
            self.network.demands.append(Demand(state.node, seen.source, seen.n, number))
            state.n -= seen.n
            state.leaving = True
            self.arrive(seen.box, seen.source, seen.n)

    def finish(self) -> None:
        """What the boxes hold in the end is where the animals are now."""
        for box, state in self.boxes.items():
            if state.node is None:
                if state.n:
                    self.network.settled[state.source, self.place_of(box)] += state.n
            elif state.n > 0:
                add(self.network.sinks[state.node], self.place_of(box), state.n)
            elif state.n < 0:
                add(self.network.arrivals[state.node], NOT_ON_THE_BOOKS, -state.n)

    def _node(self, state: _State) -> int:
        """The node of a box that holds, or is about to hold, more than one source."""
        if state.node is None:
            state.node = self.network.node()
            if state.n:
                self.network.arrivals[state.node][state.source] = state.n
        return state.node

    def _receives(self, box: Box) -> int:
        """The node of a box into which something comes.

        A balance below zero is owed by what comes later: those animals had left before the book saw
        them come, so the way leads from the later node back to the earlier.
        """
        state = self.boxes.get(box)
        if state is None or state.n == 0:
            state = self.boxes[box] = _State(0, NOT_ON_THE_BOOKS)
        before = self._node(state)
        if state.leaving:
            state.node, state.leaving = self.network.node(), False
            one, other = (before, state.node) if state.n > 0 else (state.node, before)
            add(self.network.edges[one], other, abs(state.n))
        assert state.node is not None
        return state.node


def add(numbers: dict[Key, int], key: Key, n: int) -> None:
    """``n`` more under ``key``."""
    numbers[key] = numbers.get(key, 0) + n
