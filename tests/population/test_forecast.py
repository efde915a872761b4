"""The next quarter's range holds what comes about as often as it says, where quarters are alike."""

import numpy as np
import pytest

from census.estimators.rules.estimate import CannotEstimate
from census.population.rules.forecast import Quarter, coverage, expected_closing
from census.population.rules.sexes import share_of_females


def _house(random: np.random.Generator, *, death: float, births: float, spread: float) -> list[Quarter]:
    """Eight quarters and one more; ``spread`` makes the chance of death differ between them."""
    quarters, held = [], 120
    for _ in range(9):
        chance = random.beta(death / spread, (1 - death) / spread) if spread else death
        died, born = int(random.binomial(held, chance)), int(random.poisson(births))
        quarters.append(Quarter(held, born, died))
        held += born - died
    return quarters


@pytest.mark.parametrize("spread", [0.0, 0.02])
def test_ranges_hold_what_comes_about_as_often_as_they_say(spread: float) -> None:
    """Seeded; eight quarters teach little of the spread, so that a range may miss a little more often."""
    random = np.random.default_rng(3)
    expected, came = [], []
    for run in range(300):
        *history, last = _house(random, death=0.08, births=9, spread=spread)
        expected.append(expected_closing(last.opening, history, draws=1000, seed=run))
        came.append(last.opening + last.born - last.died)
    scored = coverage(expected, came)
    assert 0.88 <= scored.estimate <= 0.99


def test_the_same_history_gives_the_same_range() -> None:
    history = [Quarter(40, 3, 4), Quarter(39, 0, 6), Quarter(33, 8, 2), Quarter(39, 2, 3)]
    first = expected_closing(38, history)
    assert expected_closing(38, history) == first
    assert first.low < first.middle < first.high


def test_without_births_nobody_is_expected_to_come() -> None:
    found = expected_closing(12, [Quarter(20 - i, 0, 1) for i in range(6)])
    assert found.high <= 12


def test_little_history_gives_no_range() -> None:
    with pytest.raises(CannotEstimate, match="needs 4"):
        expected_closing(10, [Quarter(10, 0, 0)] * 3)
    with pytest.raises(CannotEstimate, match="below zero"):
        expected_closing(-1, [Quarter(10, 0, 0)] * 6)


def test_the_sex_ratio_is_of_those_whose_sex_is_known() -> None:
    found = share_of_females(3, 9)
    assert found.estimate == 0.75
    assert (found.low, found.high) == pytest.approx((0.428, 0.945), abs=1e-3)  # scipy.stats.binomtest(9, 12)
    with pytest.raises(CannotEstimate, match="sex of none"):
        share_of_females(0, 0)
