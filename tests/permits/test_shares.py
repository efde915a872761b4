"""Source shares: against every possible assignment of small histories, and as worked by hand."""

from itertools import chain, combinations
from typing import Any

import pytest
from hypothesis import given, settings

from inventory.permits.rules.shares import NOT_ON_THE_BOOKS, Bounds, Seen, Shares, Step

from ..benchmarks.bench_shares import entangled, fate_of
from .shares_by_hand import FATES, SOURCES, histories, number_in, worlds


def itself(box: Any) -> Any:
    return box


def here_or(box: Any) -> str:
    """Every tank is one place; a fate is its own."""
    return box if box in FATES else "here"


def says(found: Bounds, least: int, most: int, even: float) -> None:
    assert found[:2] == (least, most)
    assert found.even == pytest.approx(even)


def some_of(things: Any) -> list[set[Any]]:
    """Every set of one or more."""
    listed = list(things)
    return [
        set(few) for few in chain.from_iterable(combinations(listed, k) for k in range(1, len(listed) + 1))
    ]


def agrees(steps: list[Any], place_of: Any, places: list[set[Any]]) -> None:
    """Bounds are those of all possible assignments, for every set of sources and each set of places."""
    possible = worlds(steps)
    assert possible
    shares = Shares(steps, place_of)
    assert shares.set_aside == []
    for sources in some_of(SOURCES):
        for together in places:
            numbers = [number_in(world, sources, together, place_of) for world in possible]
            found = shares.bounds(sources, together)
            assert (found.least, found.most) == (min(numbers), max(numbers)), (sources, together)
            assert found.even is None or found.least <= found.even <= found.most


@settings(max_examples=150)
@given(histories())
def test_bounds_are_those_of_every_possible_assignment(steps: list[Any]) -> None:
    agrees(steps, here_or, some_of(["here", *FATES]))


@settings(max_examples=100)
@given(histories())
def test_bounds_of_each_box_and_of_boxes_together_are_those_of_every_possible_assignment(
    steps: list[Any],
) -> None:
    agrees(steps, itself, [{"a"}, {"b"}, {"a", "b"}, {"c", "died"}, {"d", "a", "sent"}])


@settings(max_examples=150)
@given(histories(evidence=True))
def test_bounds_with_evidence_are_those_of_every_assignment_in_which_it_is_true(steps: list[Any]) -> None:
    agrees(steps, here_or, some_of(["here", *FATES]))
    agrees(steps, itself, [{"a"}, {"b", "c"}])


@settings(max_examples=100)
@given(histories(evidence=True, lies=True))
def test_evidence_that_cannot_be_true_is_set_aside_and_the_rest_still_answers(steps: list[Any]) -> None:
    shares = Shares(steps, itself)
    believed = [
        step._replace(source=None) if isinstance(step, Step) and i in shares.set_aside else step
        for i, step in enumerate(steps)
        if not (isinstance(step, Seen) and i in shares.set_aside)
    ]
    assert worlds(believed), "what is believed can be true"
    assert bool(shares.set_aside) == (not worlds(steps))
    again = Shares(believed, itself)
    for source in SOURCES:
        for box in shares.places:
            assert shares.bounds([source], [box]) == again.bounds([source], [box])


@settings(max_examples=100)
@given(histories())
def test_the_even_share_is_the_expectation_of_drawing_without_looking(steps: list[Any]) -> None:
    """Fractions on the other side, so this also holds the floating numbers to twelve digits."""
    chances = worlds(steps)
    assert sum(chances.values()) == 1
    shares = Shares(steps, itself)
    for source in SOURCES:
        for box in shares.places:
            expected = sum(
                chance * number_in(world, {str(source)}, {str(box)}, itself)
                for world, chance in chances.items()
            )
            assert shares.bounds([source], [box]).even == pytest.approx(float(expected), rel=1e-12, abs=1e-12)


@settings(max_examples=100)
@given(histories())
def test_even_shares_of_all_sources_add_up_to_what_is_there(steps: list[Any]) -> None:
    shares = Shares(steps, itself)
    world = next(iter(worlds(steps)))
    for box in shares.places:
        total = sum(shares.bounds([source], [box]).even or 0 for source in SOURCES)
        assert total == pytest.approx(number_in(world, set(SOURCES), {str(box)}, itself))


def in_one_pool(numbers: dict[str, int], lost: int) -> dict[str, Bounds]:
    steps = [*(Step(None, "pool", n, source) for source, n in numbers.items()), Step("pool", "lost", lost)]
    shares = Shares(steps, itself)
    return {source: shares.bounds([source], ["pool"]) for source in numbers}


def test_a_pool_of_three_sources_gives_the_figures_worked_by_hand() -> None:
    """20, 12 and 8 in, 27 left; least max(0, n - D), most min(n, R), even n R / sum (common practice,
    no source; worked by hand)."""
    found = in_one_pool({"P1": 20, "P2": 12, "exchange": 8}, 13)
    says(found["P1"], 7, 20, 13.5)
    says(found["P2"], 0, 12, 8.1)
    says(found["exchange"], 0, 8, 5.4)


@pytest.mark.parametrize("lost", [1, 5, 9, 12, 13, 24, 39, 40])
def test_a_pool_follows_the_plain_formulas_for_any_loss(lost: int) -> None:
    numbers = {"P1": 20, "P2": 12, "exchange": 8}
    left = 40 - lost
    for source, found in in_one_pool(numbers, lost).items():
        n = numbers[source]
        says(found, max(0, n - lost), min(n, left), n * left / 40)


def test_a_death_of_known_source_lowers_that_source_first() -> None:
    """Three of P1 are known dead and ten more of 40 are not known: P1 is 17 of 37, of which 27 are left."""
    steps = [
        *(Step(None, "pool", 20, "P1"), Step(None, "pool", 20, "P2"), Step("pool", "died", 4)),
        *(Step("pool", "died", 3, "P1"), Step("pool", "died", 6)),
    ]
    shares = Shares(steps, itself)
    says(shares.bounds(["P1"], ["pool"]), 7, 17, 17 * 27 / 37)
    says(shares.bounds(["P2"], ["pool"]), 10, 20, 20 * 27 / 37)
    says(shares.bounds(["P1"], ["died"]), 3, 13, 20 - 17 * 27 / 37)


def test_a_death_before_a_source_arrived_cannot_be_its_own() -> None:
    steps = [
        *(Step(None, "pool", 20, "P1"), Step("pool", "died", 5), Step(None, "pool", 12, "P2")),
        *(Step("pool", "died", 1), Step("pool", "died", 2)),
    ]
    shares = Shares(steps, itself)
    says(shares.bounds(["P2"], ["pool"]), 9, 12, 12 * 24 / 27)
    says(shares.bounds(["P1"], ["pool"]), 12, 15, 15 * 24 / 27)


def test_places_taken_together_are_narrower_than_their_sum() -> None:
    """A pool of 10 and 10, ten moved on: here none to ten, there none to ten, together always ten."""
    steps = [Step(None, "a", 10, "P1"), Step(None, "a", 10, "P2"), Step("a", "b", 10)]
    shares = Shares(steps, itself)
    assert shares.bounds(["P1"], ["a"])[:2] == (0, 10)
    assert shares.bounds(["P1"], ["b"])[:2] == (0, 10)
    says(shares.bounds(["P1"], ["a", "b"]), 10, 10, 10.0)
    says(shares.bounds(["P1", "P2"], ["a"]), 10, 10, 10.0)


def test_splits_and_joins_are_followed_and_not_taken_lot_by_lot() -> None:
    """Lot by lot, each of the two halves could hold all four of P1 (0 to 4 of 5), and their later pool
    with the others 0 to 8 of them. There are only four."""
    steps = [
        *(Step(None, "a", 4, "P1"), Step(None, "a", 6, "P2"), Step("a", "b", 5), Step("a", "c", 5)),
        *(Step(None, "c", 2, "P2"), Step("b", "d", 5), Step("c", "d", 7), Step("d", "died", 9)),
    ]
    shares = Shares(steps, itself)
    assert shares.bounds(["P1"], ["d"])[:2] == (0, 3)
    assert shares.bounds(["P1"], ["died"])[:2] == (1, 4)


def test_a_marked_animal_pins_its_source() -> None:
    steps: list[Step | Seen] = [
        *(Step(None, "pool", 3, "P1"), Step(None, "pool", 3, "P2"), Step("pool", "died", 3)),
    ]
    assert Shares(steps, itself).bounds(["P1"], ["pool"])[:2] == (0, 3)
    shares = Shares([*steps, Seen("pool", 1, "P1")], itself)
    assert shares.bounds(["P1"], ["pool"])[:2] == (1, 3)
    assert shares.bounds(["P2"], ["pool"])[:2] == (0, 2)


def test_evidence_with_several_ways_back_shuts_the_others() -> None:
    """One of each source in two tanks, one more comes to a; the animal that left a is P1's. So the one
    in the other tank is P2's, which no flow of P2 alone would say."""
    steps: list[Step | Seen] = [
        *(Step(None, "p", 1, "P1"), Step(None, "p", 1, "P2"), Step("p", "a", 1), Step("p", "c", 1)),
        *(Step(None, "a", 1, "given"), Step("a", "e", 1, "P1"), Step("e", "died", 1)),
    ]
    shares = Shares(steps, itself)
    assert shares.bounds(["P2"], ["c"])[:2] == (1, 1)
    assert shares.bounds(["P2"], ["a"])[:2] == (0, 0)


def test_evidence_against_the_book_is_set_aside_and_named() -> None:
    steps: list[Step | Seen] = [
        *(Step(None, "a", 3, "P1"), Step("a", "died", 1, "P2"), Seen("a", 1, "P2")),
        *(Step(None, "a", 1, "P2"), Step("a", "died", 2, "P2")),
    ]
    shares = Shares(steps, itself)
    assert shares.set_aside == [1, 2, 4]
    assert shares.bounds(["P1"], ["died"])[:2] == (2, 3)


def test_what_left_before_it_was_booked_in_is_owed_by_what_came_later() -> None:
    """Six die of an empty tank, then the slip of the 42 births before comes, dated after: all are births."""
    steps = [Step("a", "died", 6), Step(None, "a", 42, "born")]
    shares = Shares(steps, itself)
    says(shares.bounds(["born"], ["died"]), 6, 6, 6.0)
    says(shares.bounds(["born"], ["a"]), 36, 36, 36.0)
    assert NOT_ON_THE_BOOKS not in shares.sources


def test_what_never_came_has_no_source() -> None:
    steps = [Step(None, "a", 2, "P1"), Step("a", "died", 5)]
    shares = Shares(steps, itself)
    says(shares.bounds(["P1"], ["died"]), 2, 2, 2.0)
    says(shares.bounds([NOT_ON_THE_BOOKS], ["died"]), 3, 3, 3.0)


def test_a_move_there_and_back_out_of_nothing_leaves_nothing() -> None:
    steps = [Step("a", "b", 5), Step("b", "a", 5), Step(None, "a", 2, "P1"), Step("a", "b", 1)]
    shares = Shares(steps, itself)
    says(shares.bounds(["P1"], ["a"]), 1, 1, 1.0)
    says(shares.bounds(["P1"], ["b"]), 1, 1, 1.0)


def test_nothing_asked_is_nothing_answered() -> None:
    shares = Shares([Step(None, "a", 2, "P1")], itself)
    says(shares.bounds(["P9"], ["a"]), 0, 0, 0.0)
    says(shares.bounds(["P1"], ["nowhere"]), 0, 0, 0.0)
    assert shares.bounds([], []).sure
    says(Shares([], itself).bounds(["P1"], ["a"]), 0, 0, 0.0)


@pytest.mark.parametrize("step", [Step(None, "a", 0, "P1"), Step("a", "a", 1), Step(None, "a", 1)])
def test_a_step_of_nothing_to_nowhere_or_from_nowhere_is_refused(step: Step) -> None:
    with pytest.raises(ValueError, match="step 0"):
        Shares([step], itself)


@settings(max_examples=60)
@given(histories(evidence=True))
def test_a_pool_that_is_too_entangled_is_never_told_too_narrow(steps: list[Any]) -> None:
    """In two colours instead of in whole numbers for each source: the bounds hold every possible world."""
    every = worlds(steps)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("inventory.permits.rules.shares_bounds.WHOLE_NUMBERS", 0)
        wide = Shares(steps, itself)
        assert wide.set_aside == []
        for sources in ({"P1"}, {"P2"}, {"P1", "P2"}):
            for places in ({"a"}, {"b", "c"}, {"died", "sent"}):
                numbers = [number_in(world, sources, places, itself) for world in every]
                found = wide.bounds(sources, places)
                assert found.least <= min(numbers)
                assert max(numbers) <= found.most


@settings(max_examples=60)
@given(histories(evidence=True))
def test_two_colours_are_exact_for_the_only_source_that_evidence_names(steps: list[Any]) -> None:
    of_p1 = [
        step
        for step in (
            step._replace(source=None)
            if isinstance(step, Step) and step.from_box is not None and step.source != "P1"
            else step
            for step in steps
        )
        if not isinstance(step, Seen) or step.source == "P1"
    ]
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("inventory.permits.rules.shares_bounds.WHOLE_NUMBERS", 0)
        wide = Shares(of_p1, itself)
    exact = Shares(of_p1, itself)
    for places in ({"a"}, {"b", "c"}, {"d", "died"}):
        assert wide.bounds({"P1"}, places)[:2] == exact.bounds({"P1"}, places)[:2]


def test_a_pool_is_said_to_be_widened_only_where_it_is_too_large_for_whole_numbers() -> None:
    """A marked animal that is found dead can have come by several ways: a program has to be solved."""
    steps = entangled(lots=3, moves=6, sources=2, seed=54)
    exact = Shares(steps, fate_of)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("inventory.permits.rules.shares_bounds.WHOLE_NUMBERS", 0)
        wide = Shares(steps, fate_of)
    assert (exact.widened, wide.widened) == (False, True)
    for source in (0, 1):
        assert wide.bounds([source], ["died"])[:2] == exact.bounds([source], ["died"])[:2]


def test_a_strongly_entangled_pool_is_answered_with_flows_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundred lots, twelve sources: in whole numbers one question took minutes."""

    def never(*args: object, **more: object) -> None:
        raise AssertionError("a program in whole numbers")

    monkeypatch.setattr("inventory.permits.rules.shares_bounds.milp", never)
    shares = Shares(entangled(), fate_of)
    assert shares.widened
    alive = {source: shares.bounds([source], ["here"]) for source in shares.sources}
    dead = {source: shares.bounds([source], ["died"]) for source in shares.sources}
    for source, found in alive.items():
        assert found.least + dead[source].most == found.most + dead[source].least
        assert 0 <= found.least <= found.most
