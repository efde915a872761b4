"""Survival, against a trial in print, values recomputed with lifelines and R survival, and statsmodels."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.duration.survfunc import SurvfuncRight

from census.estimators.rules.estimate import CannotEstimate
from census.population.rules.survival import Life, kaplan_meier, log_rank


def _lives(text: str) -> list[Life]:
    """``6+`` is an animal that was alive when last followed on day 6."""
    return [Life(float(word.rstrip("+")), died=not word.endswith("+")) for word in text.split(",")]


# Freireich and others 1963, Blood 21:699: weeks of remission (the data of the R package MASS, gehan).
TREATED = _lives("6,6,6,6+,7,9+,10,10+,11+,13,16,17+,19+,20+,22,23,25+,32+,32+,34+,35+")
PLACEBO = _lives("1,1,2,2,3,4,4,5,5,8,8,8,8,11,11,12,12,15,17,22,23")


def test_the_curve_of_the_trial_and_its_greenwood_errors() -> None:
    """Recomputed with lifelines 0.30.3 and R survival 3.5-3; textbook values from memory agree."""
    steps = kaplan_meier(TREATED).steps
    assert [step.time for step in steps] == [6, 7, 10, 13, 16, 22, 23]
    assert [step.survival for step in steps] == pytest.approx(
        [0.857143, 0.806723, 0.752941, 0.690196, 0.627451, 0.537815, 0.448179], abs=1e-6
    )
    assert [step.se for step in steps] == pytest.approx(
        [0.0764, 0.0869, 0.0963, 0.1068, 0.1141, 0.1282, 0.1346], abs=5e-5
    )


def test_the_medians_and_the_log_rank_test_of_the_trial() -> None:
    """Recomputed with lifelines and R survdiff."""
    assert (kaplan_meier(TREATED).median, kaplan_meier(PLACEBO).median) == (23, 8)
    found = log_rank(TREATED, PLACEBO)
    assert found.chi_square == pytest.approx(16.793, abs=1e-3)
    assert found.p == pytest.approx(4.17e-5, abs=5e-7)


def test_who_enters_late_is_at_risk_only_afterwards() -> None:
    """Own inputs, recomputed with lifelines (entry=) and R survfit(Surv(entry, exit, died))."""
    entry, exit_ = (0, 0, 0, 2, 2, 3, 4, 5, 6, 0), (4, 6, 8, 5, 9, 9, 7, 10, 12, 3)
    died = (1, 1, 0, 1, 1, 0, 1, 1, 0, 0)
    lives = [Life(b, bool(d), a) for a, b, d in zip(entry, exit_, died, strict=True)]
    steps = kaplan_meier(lives).steps
    assert [(step.time, step.at_risk) for step in steps] == [(4, 6), (5, 6), (6, 6), (7, 6), (9, 4), (10, 2)]
    assert [step.survival for step in steps] == pytest.approx(
        [0.8333, 0.6944, 0.5787, 0.4823, 0.3617, 0.1808], abs=1e-4
    )


life = st.builds(
    lambda entry, followed, died, number: Life(float(entry + followed), died, float(entry), number),
    st.integers(0, 20),
    st.integers(1, 30),
    st.booleans(),
    st.integers(1, 4),
)


@given(st.lists(life, min_size=1, max_size=25))
def test_the_curve_is_that_of_statsmodels(lives: list[Life]) -> None:
    curve = kaplan_meier(lives)
    rows = [one for one in lives for _ in range(one.number)]
    with np.errstate(all="ignore"):
        theirs = SurvfuncRight(
            np.array([one.exit for one in rows]),
            np.array([int(one.died) for one in rows]),
            entry=np.array([one.entry for one in rows]),
        )
    ours = {step.time: step for step in curve.steps}
    for time, survival, at_risk, deaths in zip(
        theirs.surv_times, theirs.surv_prob, theirs.n_risk, theirs.n_events, strict=True
    ):
        if deaths and curve.at(time) > 0:
            assert ours[time].survival == pytest.approx(survival, abs=1e-9)
            assert (ours[time].at_risk, ours[time].deaths) == (at_risk, deaths)


@given(st.lists(life, min_size=1, max_size=25))
def test_a_curve_falls_inside_its_limits_and_counts_every_death(lives: list[Life]) -> None:
    curve = kaplan_meier(lives)
    assert curve.deaths == sum(one.number for one in lives if one.died)
    alive = [step.survival for step in curve.steps]
    assert alive == sorted(alive, reverse=True)
    for step in curve.steps:
        if step.low is not None and step.high is not None:
            assert 0 <= step.low <= step.survival <= step.high <= 1


def test_a_curve_that_fell_to_nothing_too_early_says_so() -> None:
    curve = kaplan_meier([Life(2, died=True), Life(9, died=False, entry=5)])
    assert any("cannot rise again" in warning for warning in curve.warnings)
    assert any("fewer than 5" in warning for warning in curve.warnings)


@pytest.mark.parametrize(
    ("lives", "why"), [([], "no animal"), ([Life(3, died=True, entry=3)], "cannot be followed")]
)
def test_what_cannot_be_followed_is_refused(lives: list[Life], why: str) -> None:
    with pytest.raises(CannotEstimate, match=why):
        kaplan_meier(lives)
