"""The cheapest set of causes, its proof and its runner-up, held to brute force and to another library."""

import random

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from census.differences.rules.model import Candidate, Component, components
from census.differences.rules.solve import Solution, cheapest_with, runner_up, solve

from .models import by_trying_everything, models

Model = tuple[dict[str, int], list[Candidate]]


@settings(max_examples=150, deadline=None)
@given(models())
def test_optimum_and_runner_up_are_those_found_by_trying_everything(model: Model) -> None:
    parts = components(*model)
    for part, found in zip(parts, solve(parts), strict=True):
        everything = by_trying_everything(part)
        assert not any(part.unexplained_by(found.amounts).values())
        assert (found.cost, found.proved) == (everything[0][0], True)
        second = runner_up(part, found)
        best = part.causes_of(found.amounts)
        others = [cost for cost, causes in everything if not causes >= best]
        assert (second.cost if second else None) == (others[0] if others else None)
        if second:
            assert second.proved
            assert not part.causes_of(second.amounts) >= best
            assert not any(part.unexplained_by(second.amounts).values())


@settings(max_examples=40, deadline=None)
@given(models(nodes=2, causes=3))
def test_the_cheapest_set_with_a_given_cause_is_found(model: Model) -> None:
    for part in components(*model):
        everything = by_trying_everything(part)
        for one in part.candidates:
            if one.noise:
                continue
            with_it = [cost for cost, causes in everything if one.key in causes]
            found = cheapest_with(part, one.key)
            assert (found.cost if found else None) == (with_it[0] if with_it else None)


@settings(max_examples=40, deadline=None)
@given(models(), st.randoms(use_true_random=False))
def test_the_order_in_which_causes_are_given_changes_nothing(model: Model, draw: random.Random) -> None:
    differences, candidates = model
    shuffled = draw.sample(candidates, len(candidates))
    turned = dict(reversed(differences.items()))
    assert solve(components(differences, candidates)) == solve(components(turned, shuffled))


@settings(max_examples=60, deadline=None)
@given(st.lists(st.integers(-9, 9), min_size=2, max_size=9), st.integers(0, 10**6))
def test_without_fixed_charges_it_is_the_min_cost_flow_of_networkx(sizes: list[int], seed: int) -> None:
    """networkx's network simplex shares no code with HiGHS."""
    draw = random.Random(seed)
    differences = {f"n{k}": n for k, n in enumerate(sizes)}
    candidates: list[Candidate] = []
    graph: nx.DiGraph[str] = nx.DiGraph()
    for node, n in differences.items():
        # More than its book: the node takes in; the outside balances all.
        graph.add_node(node, demand=n)
        for key, gains, loses in ((f"in {node}", node, ""), (f"out {node}", "", node)):
            each = draw.randint(20, 40)
            candidates.append(Candidate(key, gains, loses, fixed=0, each=each, most=200))
            graph.add_edge(loses or "outside", gains or "outside", weight=each, capacity=200)
    graph.add_node("outside", demand=-sum(sizes))
    for a in differences:
        for b in differences:
            if a != b and draw.random() < 0.6:
                each, most = draw.randint(1, 60), draw.randint(1, 6)
                candidates.append(Candidate(f"{a} to {b}", b, a, fixed=0, each=each, most=most))
                graph.add_edge(a, b, weight=each, capacity=most)
    cost, _ = nx.network_simplex(graph)
    found = solve(components(differences, candidates))
    assert sum(one.cost for one in found) == cost
    assert all(one.proved for one in found)


def test_one_move_is_likelier_than_a_loss_and_a_gain_of_the_same_size() -> None:
    part, found = _only({"q": -6, "e": 6}, [_move("q", "e"), *_unexplained("q", "e")])
    assert found.amounts == {"q to e": 6}
    second = runner_up(part, found)
    assert second is not None
    assert second.amounts == {"loss q": 6, "gain e": 6}
    assert second.cost > found.cost


def test_few_causes_are_likelier_than_many_cheap_ones() -> None:
    """The plain flow takes two small moves, each cheap by the animal; one move explains it all."""
    differences = {"a": -6, "b": 3, "c": 3, "d": 6, "e": -6}
    moves = [
        Candidate("a to b", "b", "a", fixed=900, each=1, most=6),
        Candidate("a to c", "c", "a", fixed=900, each=1, most=6),
        Candidate("e to d", "d", "e", fixed=900, each=1, most=6),
        Candidate("a to d", "d", "a", fixed=1000, each=1, most=6),
        Candidate("e to b", "b", "e", fixed=1000, each=1, most=6),
        Candidate("e to c", "c", "e", fixed=1000, each=1, most=6),
    ]
    _, found = _only(differences, [*moves, *_unexplained(*differences)])
    assert found.amounts == {"a to b": 3, "a to c": 3, "e to d": 6}
    assert found.proved


def test_an_entry_made_twice_is_taken_back_whole_or_not_at_all() -> None:
    twice = Candidate("twice", "a", "", fixed=2000, each=0, most=3, least=3, whole=True)
    _, found = _only({"a": 3}, [twice, *_unexplained("a")])
    assert found.amounts == {"twice": 3}
    _, found = _only({"a": 2}, [twice, *_unexplained("a", most=2)])
    assert found.amounts == {"gain a": 2}


def test_out_of_time_the_plain_flow_stands_and_its_gap_is_stated() -> None:
    differences = {"a": -6, "b": 4, "c": 1}
    model = [_move("a", "b"), _move("a", "c"), *_unexplained(*differences)]
    parts = components(differences, model)
    (late,) = solve(parts, seconds_in_all=0.0)
    (proved,) = solve(parts)
    assert not any(parts[0].unexplained_by(late.amounts).values())
    assert (late.road, proved.road) == ("flow", "integer")
    assert late.bound <= proved.cost <= late.cost
    assert late.gap > 0
    assert proved.gap == 0


def test_lines_that_nothing_joins_are_problems_of_their_own() -> None:
    parts = components({"a": 1, "b": -1, "c": 2}, [_move("b", "a"), *_unexplained("a", "b", "c")])
    assert [sorted(part.differences) for part in parts] == [["a", "b"], ["c"]]


def test_what_has_no_consistent_set_is_refused() -> None:
    with pytest.raises(ValueError, match="no set of causes"):
        solve(components({"a": 1, "b": -2}, [_move("b", "a")]))


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"gains": "a", "loses": "a"}, "moves between two"),
        ({"gains": "", "loses": ""}, "moves between two"),
        ({"gains": "a", "loses": "", "fixed": -1}, "not below zero"),
        ({"gains": "a", "loses": "", "least": 4}, "least <= most"),
        ({"gains": "a", "loses": "", "noise": True}, "noise has no fixed cost"),
    ],
)
def test_a_candidate_that_makes_no_sense_is_refused(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        Candidate(**{"key": "x", "fixed": 1, "each": 1, "most": 3, **wrong})  # type: ignore[arg-type]


def test_a_candidate_of_an_unknown_line_and_a_key_that_stands_twice_are_refused() -> None:
    with pytest.raises(ValueError, match="no line 'z'"):
        components({"a": 1}, [_move("z", "a")])
    with pytest.raises(ValueError, match="two candidates"):
        components({"a": 1, "b": -1}, [_move("b", "a"), _move("b", "a")])


def _only(differences: dict[str, int], candidates: list[Candidate]) -> tuple[Component, Solution]:
    parts = components(differences, candidates)
    assert len(parts) == 1
    return parts[0], solve(parts)[0]


def _move(loses: str, gains: str, most: int = 6) -> Candidate:
    return Candidate(f"{loses} to {gains}", gains, loses, fixed=3000, each=100, most=most)


def _unexplained(*nodes: str, most: int = 6) -> list[Candidate]:
    ways = [(f"gain {node}", node, "") for node in nodes] + [(f"loss {node}", "", node) for node in nodes]
    return [Candidate(key, gains, loses, fixed=4000, each=700, most=most) for key, gains, loses in ways]
