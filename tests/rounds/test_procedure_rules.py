"""Draws, samples, runs and searches as pure rules."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import chisquare

from census.rounds.rules.calendar import working_days_after
from census.rounds.rules.drawing import drawn, drawn_again, recounts_to_draw, share_of, sheets_to_draw
from census.rounds.rules.runs import (
    Earlier,
    NotSeen,
    contradicts_drift,
    drifts,
    full_count_due,
    letter_steps,
    search_for,
    write_off_from,
)
from census.rounds.rules.sampling import Sampled, accepted, is_right
from census.rounds.rules.settings import CensusSettings

names = st.lists(st.text("abcdef0123456789 ", min_size=1, max_size=8), unique=True, max_size=40)


@given(seed=st.text(), names=names, n=st.integers(-2, 60))
def test_a_draw_can_be_repeated_and_takes_each_name_once(seed: str, names: list[str], n: int) -> None:
    found = drawn(seed, names, n)
    assert found == drawn(seed, reversed(names), n)
    assert len(found) == len(set(found)) == min(max(n, 0), len(names))
    assert set(found) <= set(names)


def test_a_draw_favours_nobody() -> None:
    """Chi-squared goodness of fit by scipy.stats: 6,000 seeded draws of 3 of 12 fall evenly."""
    names = [f"line {k}" for k in range(12)]
    hits = dict.fromkeys(names, 0)
    for seed in range(2_000):
        for name in drawn(str(seed), names, 3):
            hits[name] += 1
    assert chisquare(list(hits.values())).pvalue > 0.001


@given(seed=st.text(), names=names, n=st.integers(0, 30))
def test_drawing_again_gives_as_many_as_asked_from_any_list(seed: str, names: list[str], n: int) -> None:
    found = drawn_again(seed, names, n)
    assert len(found) == (n if names else 0)
    assert set(found) <= set(names)


@pytest.mark.parametrize(("agreeing", "n"), [(0, 0), (2, 2), (3, 3), (60, 3), (61, 4), (100, 5), (101, 6)])
def test_five_per_cent_of_the_lines_that_agree_and_at_least_three(agreeing: int, n: int) -> None:
    assert recounts_to_draw(agreeing) == n


def test_a_share_is_rounded_up_and_a_bad_sample_doubles_the_next() -> None:
    assert share_of(21, 10, at_least=1) == 3
    assert sheets_to_draw(40, doubled=False) == 4
    assert sheets_to_draw(40, doubled=True) == 8
    assert sheets_to_draw(5, doubled=True) == 5


def results(count_class: str, right: int, wrong: int, *, floor: bool = False) -> list[Sampled]:
    return [Sampled(count_class, k >= wrong, floor) for k in range(right + wrong)]


@pytest.mark.parametrize(
    ("sampled", "accepts"),
    [
        ([], True),
        (results("A", 30, 0), True),
        (results("A", 30, 1), False),
        (results("B", 19, 1), True),
        (results("B", 18, 2), False),
        (results("B", 38, 2), True),
        (results("C", 5, 1), False),
        (results("", 9, 1, floor=True), True),
        (results("", 8, 2, floor=True), False),
    ],
)
def test_no_error_in_a_one_in_twenty_in_b_all_of_c(sampled: list[Sampled], accepts: bool) -> None:
    assert accepted(sampled).accepted is accepts


def test_more_than_a_tenth_wrong_doubles_and_a_tenth_does_not() -> None:
    assert not accepted(results("B", 9, 1)).next_doubles
    assert accepted(results("B", 8, 1)).next_doubles
    assert not accepted([]).next_doubles


@given(sampled=st.lists(st.builds(Sampled, st.sampled_from("ABC"), st.booleans(), st.booleans())))
def test_putting_one_result_right_never_turns_yes_into_no(sampled: list[Sampled]) -> None:
    for k, one in enumerate(sampled):
        better = [*sampled[:k], Sampled(one.count_class, True, one.floor_to_list), *sampled[k + 1 :]]
        assert accepted(better).accepted or not accepted(sampled).accepted


def test_a_found_number_is_right_by_the_rule_of_its_class() -> None:
    assert is_right("A", 2, 2)
    assert not is_right("B", 40, 41)
    assert is_right("C", 400, 440)
    assert not is_right("C", 400, 441)


def run(*differences: int | None, at_least: bool = False) -> list[Earlier]:
    return [Earlier(f"CS-{k}", d, at_least) for k, d in enumerate(differences)]


@pytest.mark.parametrize(
    ("newest_first", "side"),
    [((-25, -18, -11), -1), ((3, 1, 2, -9), 1), ((-25, -18), 0), ((-25, 0, -11), 0), ((-2, 4, -3), 0)],
)
def test_three_censuses_on_one_side_are_a_drift(newest_first: tuple[int, ...], side: int) -> None:
    assert drifts(run(*newest_first)) == side


def test_a_stated_drift_is_held_against_the_censuses_that_the_house_has() -> None:
    assert contradicts_drift(run(-25)) == ""
    assert contradicts_drift(run(-25, -18, -11)) == ""
    assert contradicts_drift(run(-25, 4)) == "CS-1"
    assert contradicts_drift(run(-25, None)) == "CS-1"
    assert contradicts_drift(run(-25, -1, -1, 5)) == ""


def test_four_minimum_counts_running_want_a_full_one() -> None:
    assert full_count_due(run(-3, -3, -2, -1, at_least=True))
    assert not full_count_due(run(-3, -3, -2, at_least=True))
    assert not full_count_due([*run(-3, -3, -2, at_least=True), *run(0)])
    assert full_count_due(run(-1, at_least=True), CensusSettings(minimum_count_run_length=1))


def test_letters_are_counted_in_steps_of_the_scale() -> None:
    assert letter_steps("S", "R") == 5
    assert letter_steps("C", "O") == letter_steps("O", "C") == 2
    assert letter_steps("", "R") == letter_steps("X", "R") == 0


def test_an_individual_not_seen_is_searched_asked_for_and_written_off_in_its_time() -> None:
    # Days of section 6 of the house's own procedure: 14, two censuses or 30, 60; no outside source.
    missed = date(2026, 9, 30)

    def stage(today: date, censuses: int = 1) -> NotSeen:
        return search_for(last_seen=date(2026, 8, 12), missed_on=missed, censuses=censuses, today=today).stage

    assert stage(date(2026, 10, 29)) is NotSeen.SEARCH
    assert stage(date(2026, 10, 30)) is NotSeen.QUERY
    assert stage(date(2026, 10, 1), censuses=2) is NotSeen.QUERY
    found = search_for(last_seen=date(2026, 8, 12), missed_on=missed, censuses=1, today=missed)
    assert found.search_until == date(2026, 10, 14)
    assert found.write_off_from == write_off_from(date(2026, 8, 12)) == date(2026, 10, 11)


@pytest.mark.parametrize(
    ("today", "days"),
    [
        (date(2026, 9, 30), 0),
        (date(2026, 10, 1), 1),  # a Thursday
        (date(2026, 10, 4), 2),
        (date(2026, 10, 21), 15),
        (date(2026, 10, 28), 20),
    ],
)
def test_working_days_after_the_periods_end(today: date, days: int) -> None:
    """numpy's busday_count counts the same."""
    end = date(2026, 9, 30)
    assert working_days_after(end, today) == days
    assert days == int(np.busday_count("2026-10-01", today + timedelta(days=1)))
