"""The watch on deaths: run lengths against Lucas 1985 and against simulation."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as settings_
from hypothesis import strategies as st

from census.estimators.rules.estimate import CannotEstimate
from census.population.queries import watching
from census.population.rules.watch import began, limits_for, run_length, watch


def test_the_run_lengths_are_those_of_lucas() -> None:
    """Lucas 1985, Technometrics 27:129, Tables 2 and 3, quoted in the manual of the R package spc:
    k = 0.25, h = 10, mean 0.25; without and with a head start of 5. (CUSUM signals when C >= h.)"""
    k, h = Fraction(1, 4), Fraction(10)
    assert run_length(k, h, 0.25) == pytest.approx(438, abs=0.5)
    assert run_length(k, h, 0.25, head_start=Fraction(5)) == pytest.approx(333, abs=0.5)


@pytest.mark.parametrize("rate", [0.2, 0.6])
def test_the_run_length_is_that_of_many_runs(rate: float) -> None:
    k, h = Fraction(2, 5), Fraction(3)
    random = np.random.default_rng(5)
    lengths = []
    for _ in range(4000):
        total, days = 0.0, 0
        while total < float(h) - 1e-9:
            total = max(0.0, total + random.poisson(rate) - float(k))
            days += 1
        lengths.append(days)
    spread = np.std(lengths) / np.sqrt(len(lengths))
    assert run_length(k, h, rate) == pytest.approx(np.mean(lengths), abs=4 * spread)


@settings_(max_examples=25)
@given(st.floats(0.01, 3), st.floats(0.5, 4))
def test_limits_keep_their_promise_of_false_alarms(usual: float, a_year: float) -> None:
    limits = limits_for(usual, false_alarms_a_year=a_year)
    assert limits.false_alarms_a_year <= a_year
    assert limits.days_to_notice < limits.days_between_false
    assert limits.usual < limits.k < limits.raised


def test_an_outbreak_is_noticed_and_its_beginning_is_told() -> None:
    limits = limits_for(0.1)
    days = watch([0] * 10 + [0, 1, 2, 1, 3], limits)
    alarms = [number for number, day in enumerate(days) if day.alarm]
    assert alarms
    assert began(days, alarms[0]) == 11
    assert not any(day.alarm for day in watch([0, 0, 1, 0, 0, 0, 0, 0, 0, 1] * 3, limits))


@pytest.mark.parametrize(("usual", "why"), [(0, "Nobody has died"), (0.00001, "too rare")])
def test_a_watch_without_a_usual_rate_is_refused(usual: float, why: str) -> None:
    with pytest.raises(CannotEstimate, match=why):
        limits_for(usual)


@settings_(max_examples=60)
@given(st.lists(st.integers(0, 12), max_size=80), st.floats(0.01, 3), st.floats(0.05, 4))
def test_sums_counted_in_whole_parts_are_those_of_fractions(
    deaths: list[int], usual: float, a_year: float
) -> None:
    limits = limits_for(usual, false_alarms_a_year=a_year)
    total = Fraction(0)
    for day, n in zip(watch(deaths, limits), deaths, strict=True):
        total = max(Fraction(0), total + n - limits.k)
        assert (day.deaths, day.sum, day.alarm) == (n, total, total >= limits.h)
        total = Fraction(0) if day.alarm else total


def test_that_no_limit_is_quiet_enough_is_found_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    asked = []

    def tried(usual: float, **_: float) -> None:
        asked.append(usual)
        raise CannotEstimate("No limit up to 60 deaths is quiet enough.")

    monkeypatch.setattr(watching, "limits_for", tried)
    watching._limits.cache_clear()
    assert [watching._limits(900.0, 0.1) for _ in range(3)] == [None] * 3
    assert asked == [900.0]
    watching._limits.cache_clear()
