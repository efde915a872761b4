"""Death rates and their comparison, against printed and recomputed values and statsmodels."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.rates import test_poisson_2indep as poisson_2indep

from census.estimators.rules.estimate import CannotEstimate
from census.population.rules.rates import animal_days, death_rate, exact_p, rate_ratio, wald_ratio

# Rothman 1998, Modern Epidemiology, p. 238: 41 in 28,010 and 15 in 19,017 person-years (inputs quoted in the
# manual of the R package epitools).
ROTHMAN = (41, 28_010, 15, 19_017)


def test_a_death_rate_has_the_exact_poisson_interval() -> None:
    """3 deaths in 1,200 animal-days; own inputs, recomputed with scipy.stats.chi2, not seen in print."""
    rate = death_rate(3, 1200)
    assert rate.estimate == pytest.approx(0.25)
    assert [rate.low, rate.high] == pytest.approx([0.051556, 0.730606], abs=1e-6)


def test_the_wald_interval_is_rothmans() -> None:
    found = wald_ratio(*ROTHMAN)
    assert (found.estimate, found.low, found.high) == pytest.approx((1.856, 1.027, 3.353), abs=5e-4)


def test_the_mid_p_limits_are_those_of_epitools() -> None:
    """rateratio.midp of the R package epitools 0.5-10.1, recomputed, not seen in print."""
    found = rate_ratio(*ROTHMAN)
    assert found.median_unbiased == pytest.approx(1.84298, abs=5e-4)
    assert [found.low, found.high] == pytest.approx([1.04104, 3.44905], abs=5e-4)


def test_the_two_p_values_are_those_recomputed_with_scipy_and_epitools() -> None:
    """Mid-P defined as twice the smaller one-sided mid-P; recomputed with scipy binom, not seen in print."""
    assert rate_ratio(*ROTHMAN).p == pytest.approx(0.03546, abs=5e-5)
    assert exact_p(*ROTHMAN) == pytest.approx(0.04085, abs=5e-5)


@given(st.integers(0, 40), st.integers(1, 5000), st.integers(0, 40), st.integers(1, 5000))
def test_the_exact_p_is_that_of_statsmodels(a: int, days: int, b: int, other_days: int) -> None:
    if a and b:  # statsmodels divides by the second
        theirs = poisson_2indep(a, days, b, other_days, method="exact-cond", compare="ratio").pvalue
        assert exact_p(a, days, b, other_days) == pytest.approx(theirs, abs=1e-6)


@given(st.integers(1, 60), st.integers(1, 5000), st.integers(1, 60), st.integers(1, 5000))
def test_turning_the_comparison_round_turns_the_ratio_over(a: int, e: int, b: int, f: int) -> None:
    there, back = rate_ratio(a, e, b, f), rate_ratio(b, f, a, e)
    assert there.high is not None
    assert there.p == pytest.approx(back.p)
    assert there.low == pytest.approx(1 / (back.high or 0), rel=1e-6)
    assert there.low <= (there.median_unbiased or 0) <= there.high


def test_no_deaths_in_one_leaves_one_limit_open() -> None:
    assert rate_ratio(3, 100, 0, 100).high is None
    assert rate_ratio(0, 100, 3, 100).low == 0
    with pytest.raises(CannotEstimate, match="Nobody died"):
        rate_ratio(0, 100, 0, 100)


def test_animal_days_count_each_animal_for_the_days_that_it_was_there() -> None:
    # Ten for five days, eight for five more; below zero nobody is there.
    assert animal_days([(5.0, -2)], start=0.0, end=10.0, opening=10) == 90
    assert animal_days([(2.0, -3), (8.0, 4)], start=0.0, end=10.0, opening=1) == 1 * 2 + 0 + 2 * 2
    with pytest.raises(CannotEstimate, match="outside the period"):
        animal_days([(11.0, 1)], start=0.0, end=10.0, opening=1)
