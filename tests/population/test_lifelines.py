"""Survival and exposure by another road: lifelines, which shares no code with ours."""

import warnings

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

with warnings.catch_warnings():
    # What it imports warns of its own future, not of ours.
    warnings.simplefilter("ignore")
    from lifelines import ExponentialFitter, KaplanMeierFitter  # type: ignore[import-untyped]

from census.population.rules.rates import animal_days, death_rate
from census.population.rules.survival import Life, kaplan_meier

# The first animal is there from the beginning to the end, so that there is always somebody at risk.
HISTORIES = st.lists(
    st.tuples(st.integers(0, 30), st.integers(1, 30), st.booleans()).map(
        lambda drawn: Life(float(drawn[0] + drawn[1]), drawn[2], float(drawn[0]))
    ),
    min_size=1,
    max_size=25,
).map(lambda lives: [Life(61.0, False), Life(61.0, False), *lives])


@given(lives=HISTORIES)
@settings(max_examples=40, deadline=None)
def test_the_curve_its_limits_and_greenwood_are_those_of_lifelines_with_late_entry(lives: list[Life]) -> None:
    """KaplanMeierFitter.fit(durations, observed, entry=): Kaplan and Meier with Greenwood's variance and the
    complementary log-log interval (its documentation, "Confidence intervals")."""
    fitter = KaplanMeierFitter(alpha=0.05)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitter.fit(
            [life.exit for life in lives],
            [life.died for life in lives],
            entry=[life.entry for life in lives],
        )
    table = fitter.event_table
    for step in kaplan_meier(lives).steps:
        assert step.survival == pytest.approx(float(fitter.predict(step.time)), abs=1e-9)
        assert step.deaths == int(table.loc[step.time, "observed"])
        low, high = fitter.confidence_interval_survival_function_.loc[step.time]
        if step.low is not None and step.high is not None:
            assert (step.low, step.high) == pytest.approx((float(low), float(high)), abs=1e-9)


@given(
    stays=st.lists(st.tuples(st.integers(1, 60), st.booleans()), min_size=2, max_size=25).filter(
        lambda stays: any(died for _, died in stays)
    )
)
@settings(max_examples=25, deadline=None)
def test_deaths_over_animal_days_are_the_rate_of_an_exponential_life(stays: list[tuple[int, bool]]) -> None:
    """The maximum likelihood rate of ExponentialFitter is deaths over exposure."""
    days = animal_days([(float(day), -1) for day, _ in stays], start=0, end=61, opening=len(stays))
    fitter = ExponentialFitter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitter.fit([day for day, _ in stays], [died for _, died in stays])
    deaths = sum(died for _, died in stays)
    assert death_rate(deaths, days).estimate == pytest.approx(100 / float(fitter.lambda_), rel=1e-4)
