"""Shares and rates by statsmodels, over random inputs."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson

from census.estimators.rules.proportions import clopper_pearson, wilson
from census.estimators.rules.rates import poisson

shares = st.integers(1, 3000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))


@given(shares)
def test_wilson_is_that_of_statsmodels(share: tuple[int, int]) -> None:
    ours = wilson(*share)
    assert (ours.low, ours.high) == pytest.approx(
        proportion_confint(*share, alpha=0.05, method="wilson"), rel=1e-9, abs=1e-12
    )


@given(shares)
def test_clopper_pearson_is_that_of_statsmodels(share: tuple[int, int]) -> None:
    """statsmodels calls it by the beta distribution."""
    ours = clopper_pearson(*share)
    assert (ours.low, ours.high) == pytest.approx(
        proportion_confint(*share, alpha=0.05, method="beta"), rel=1e-9, abs=1e-12
    )


@given(st.integers(1, 5000), st.floats(0.01, 1e6))
def test_a_rate_has_the_exact_interval_of_statsmodels(count: int, exposure: float) -> None:
    ours = poisson(count, exposure)
    theirs = confint_poisson(count, exposure, method="exact-c", alpha=0.05)
    assert (ours.low, ours.high) == pytest.approx(tuple(theirs), rel=1e-9)


@given(st.floats(0.01, 1e6))
def test_no_event_has_the_upper_limit_of_statsmodels(exposure: float) -> None:
    """Its lower limit of no event is not a number; ours is zero."""
    ours = poisson(0, exposure)
    assert ours.low == 0
    assert ours.high == pytest.approx(confint_poisson(0, exposure, method="exact-c", alpha=0.05)[1], rel=1e-9)
