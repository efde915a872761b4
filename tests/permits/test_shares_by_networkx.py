"""Bounds of source shares by another road: minimum cost flows of networkx on the whole network.

Nothing is shared with the rules: every box has a node for every step, nothing is made smaller, and a
cost on what ends in the asked places takes the part of the maximum flow (networkx, network simplex).
"""

import random
from typing import Any

import networkx as nx
import pytest

from inventory.permits.rules.shares import Shares, Step


def random_house(seed: int, *, boxes: int = 25, sources: int = 6, steps: int = 250) -> list[Step]:
    """Arrivals, moves to and fro, and losses, with everything mixed with everything."""
    rng = random.Random(seed)
    held = dict.fromkeys(range(boxes), 0)
    made: list[Step] = []
    for _ in range(steps):
        full = [box for box, n in held.items() if n]
        if not full or rng.random() < 0.15:
            box, n = rng.randrange(boxes), rng.randint(1, 12)
            made.append(Step(None, box, n, f"S{rng.randrange(sources)}"))
        else:
            giver = rng.choice(full)
            box, n = rng.choice([*range(boxes), "died", "sent"]), rng.randint(1, held[giver])
            if rng.random() < 0.6:
                n = min(n, 4)
            if box == giver:
                continue
            made.append(Step(giver, box, n))
            held[giver] -= n
        if box in held:
            held[box] += n
    return made


def by_networkx(steps: list[Step], sources: set[str], places: set[Any], *, sign: int) -> int:
    """The least (sign 1) or the most (sign -1) of ``sources`` in ``places``."""
    graph: Any = nx.MultiDiGraph()
    held: dict[Any, int] = {}
    at: dict[Any, tuple[Any, int]] = {}
    supply = 0

    def next_node(box: Any, number: int) -> tuple[Any, int]:
        """The box after step ``number``, joined to the box before it."""
        after = (box, number)
        graph.add_node(after)
        if box in at:
            graph.add_edge(at[box], after, capacity=held[box], weight=0)
        at[box] = after
        return after

    for number, step in enumerate(steps):
        if step.from_box is None:
            node = next_node(step.to_box, number)
            coloured = step.n if step.source in sources else 0
            graph.nodes[node]["demand"] = graph.nodes[node].get("demand", 0) - coloured
            supply += coloured
        else:
            before = at[step.from_box]
            held[step.from_box] -= step.n
            next_node(step.from_box, number)
            graph.add_edge(before, next_node(step.to_box, number), capacity=step.n, weight=0)
        held[step.to_box] = held.get(step.to_box, 0) + step.n
    for box, node in at.items():
        graph.add_edge(node, "end", capacity=held[box], weight=sign if box in places else 0)
    graph.add_node("end", demand=supply)
    cost, _ = nx.network_simplex(graph)
    return int(cost) * sign


@pytest.mark.parametrize("seed", range(4))
def test_network_simplex_on_the_whole_network_finds_the_same_bounds(seed: int) -> None:
    steps = random_house(seed)
    shares = Shares(steps, lambda box: box)
    rng = random.Random(seed)
    names = sorted(shares.sources, key=str)
    asked: list[tuple[set[Any], set[Any]]] = [({source}, {"died"}) for source in names]
    asked += [({source}, set(range(25))) for source in names]
    asked += [
        (set(rng.sample(names, rng.randint(1, 3))), set(rng.sample(range(25), rng.randint(1, 12))))
        for _ in range(8)
    ]
    uncertain = 0
    for sources, places in asked:
        found = shares.bounds(sources, places)
        assert found.least == by_networkx(steps, sources, places, sign=1), (sources, places)
        assert found.most == by_networkx(steps, sources, places, sign=-1), (sources, places)
        assert found.even is not None
        assert found.least <= found.even <= found.most
        uncertain += not found.sure
    assert uncertain > 5, "the house is mixed enough to ask about"
