"""Trees, and the integer programme of HiGHS, come to the same cost; they share no code."""

import random

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from census.differences.rules.model import Candidate, Component, components
from census.differences.rules.solve import _solved, runner_up, solve
from census.differences.rules.trees import by_trees, most_needed


def house(seed: int) -> list[Component]:
    """A few lines that are short and a few that are over, with pairs, single causes and noise."""
    draw = random.Random(seed)
    short = [f"s{k}" for k in range(draw.randint(1, 3))]
    over = [f"o{k}" for k in range(draw.randint(1, 3))]
    differences = {node: -draw.randint(1, 9) for node in short} | {node: draw.randint(1, 9) for node in over}
    candidates = []
    for node in differences:
        for way, gains, loses in (("gain", node, ""), ("loss", "", node)):
            fixed, each = draw.randint(10, 60), draw.randint(1, 9)
            candidates.append(Candidate(f"{way} {node}", gains, loses, fixed, each, most=500))
        if draw.random() < 0.3:
            most = draw.randint(1, 4)
            candidates.append(
                Candidate(f"whole {node}", node, "", draw.randint(0, 20), 0, most, most, whole=True)
            )
        if draw.random() < 0.4:
            for way, gains, loses in (("up", node, ""), ("down", "", node)):
                each, most = draw.randint(1, 12), draw.randint(1, 3)
                candidates.append(Candidate(f"noise {way} {node}", gains, loses, 0, each, most, noise=True))
    for a in differences:
        for b in differences:
            if a != b and draw.random() < (0.8 if differences[a] < 0 < differences[b] else 0.15):
                fixed, each = draw.randint(5, 70), draw.randint(0, 8)
                candidates.append(Candidate(f"{a} to {b}", b, a, fixed, each, most=500))
    return components(differences, candidates)


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10**9))
def test_trees_come_to_the_optimum_of_the_integer_programme(seed: int) -> None:
    for part in house(seed):
        tree, integer = by_trees(part), _solved(part, seconds=20)
        assert integer is not None
        assume(tree is not None)
        assert tree is not None
        cost, amounts = tree
        assert integer.proved
        assert not any(part.unexplained_by(amounts).values())
        assert (cost, part.cost_of(amounts)) == (integer.cost, integer.cost)


@settings(max_examples=30, deadline=None)
@given(st.integers(0, 10**9))
def test_the_runner_up_of_trees_is_that_of_the_integer_programme(seed: int) -> None:
    parts = house(seed)
    for part, best in zip(parts, solve(parts), strict=True):
        second = runner_up(part, best)
        taken = part.causes_of(best.amounts)
        integer = _solved(part, seconds=20, without_one_of=taken) if taken else None
        assert (second.cost if second else None) == (integer.cost if integer else None)


def test_trees_are_not_asked_where_they_do_not_apply() -> None:
    differences = {"a": -3, "b": 3}
    rest = [
        Candidate("loss a", "", "a", 20, 2, most=500),
        Candidate("gain b", "b", "", 20, 2, most=500),
    ]
    bounded = Component(differences, [Candidate("a to b", "b", "a", 5, 1, most=2), *rest])
    assert most_needed(bounded) > 2
    assert by_trees(bounded) is None
    (found,) = solve([bounded])
    assert found.proved
    free = Component(differences, [Candidate("a to b", "b", "a", 5, 1, most=500), *rest])
    assert by_trees(free) == (8, {"a to b": 3})
