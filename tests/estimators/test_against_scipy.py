"""The same answers by another road, over random inputs: scipy's procedures, plain search, exact fractions."""

from fractions import Fraction
from math import inf, log, sqrt

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import optimize, stats

from census.estimators.rules.carle_strub import carle_strub
from census.estimators.rules.estimate import CannotEstimate, Estimate
from census.estimators.rules.marked import ChapmanInterval, chapman
from census.estimators.rules.observers import swapped_detection, two_observers, two_observers_swapped
from census.estimators.rules.proportions import clopper_pearson, wilson
from census.estimators.rules.rates import garwood
from census.estimators.rules.ratio import ratio
from census.estimators.rules.removal import RemovalForm, conditional_likelihood, removal, two_pass
from census.estimators.rules.sampling import squares, strata
from census.estimators.rules.schnabel import schnabel

shares = st.integers(1, 3000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
few_catches = st.lists(st.integers(0, 40), min_size=2, max_size=6).filter(lambda c: sum(c) > 0)
square_counts = st.lists(st.integers(0, 60), min_size=2, max_size=20)


@given(shares)
def test_wilson_is_that_of_scipy(share: tuple[int, int]) -> None:
    ours, theirs = wilson(*share), stats.binomtest(*share).proportion_ci(method="wilson")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), rel=1e-9, abs=1e-12)


@given(shares)
def test_clopper_pearson_is_that_of_scipy(share: tuple[int, int]) -> None:
    """scipy searches for the root of the binomial tail; ours inverts the beta distribution."""
    ours, theirs = clopper_pearson(*share), stats.binomtest(*share).proportion_ci(method="exact")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), rel=1e-6, abs=1e-9)


@given(st.integers(0, 5000))
def test_garwood_leaves_a_fortieth_of_the_poisson_distribution_on_each_side(count: int) -> None:
    """By definition, and by scipy's Poisson and chi-square distributions."""
    low, high = garwood(count)
    assert stats.poisson.cdf(count, high) == pytest.approx(0.025, rel=1e-9)
    assert high == pytest.approx(stats.chi2.ppf(0.975, 2 * count + 2) / 2, rel=1e-9)
    if count:
        assert stats.poisson.sf(count - 1, low) == pytest.approx(0.025, rel=1e-9)
    else:
        assert low == 0


@given(square_counts, st.integers(0, 500))
def test_squares_are_the_t_interval_of_scipy_shrunk_by_the_correction(counts: list[int], more: int) -> None:
    total = len(counts) + more
    found = squares(counts, total)
    se = total * float(stats.sem(counts)) * sqrt(1 - len(counts) / total)
    assert found.se == pytest.approx(se)
    if se > 0:
        _, high = stats.t.interval(0.95, len(counts) - 1, loc=total * float(np.mean(counts)), scale=se)
        assert found.high == pytest.approx(high)


@given(square_counts, square_counts, st.integers(1, 200), st.integers(1, 200))
def test_strata_add_up_like_independent_samples(
    sand: list[int], rock: list[int], more_sand: int, more_rock: int
) -> None:
    """Sums of estimates and variances; degrees of freedom between those of the smaller and of both."""
    totals = (len(sand) + more_sand, len(rock) + more_rock)
    both = strata([sand, rock], totals)
    parts = [squares(sand, totals[0]), squares(rock, totals[1])]
    assert both.estimate == pytest.approx(sum(part.estimate for part in parts))
    se = sqrt(sum((part.se or 0) ** 2 for part in parts))
    assert both.se == pytest.approx(se)
    assert both.high is not None
    fewest, most = min(len(sand), len(rock)) - 1, len(sand) + len(rock) - 2
    half = both.high - both.estimate
    assert float(stats.t.ppf(0.975, most)) * se * 0.999999 <= half + 1e-6
    assert half <= float(stats.t.ppf(0.975, fewest)) * se * 1.000001 + 1e-6


def test_strata_use_welchs_degrees_of_freedom() -> None:
    """Large areas: the degrees are those of scipy's Welch test on samples scaled by area."""
    sand, rock = [3, 0, 5, 2, 4, 7], [11, 9, 30, 8, 12]
    found = strata([sand, rock], [10**9, 2 * 10**9])
    welch = stats.ttest_ind(np.array(sand) * 1.0, np.array(rock) * -2.0, equal_var=False)
    interval = welch.confidence_interval(0.95)
    assert found.estimate / 1e9 == pytest.approx(np.mean(sand) + 2 * np.mean(rock))
    assert found.high is not None
    assert found.high / 1e9 == pytest.approx(interval.high)


@given(square_counts, st.integers(1, 50), st.integers(0, 100))
def test_portions_of_one_weight_are_sample_squares(counts: list[int], weight: int, more: int) -> None:
    total = len(counts) + more
    by_weight = ratio(counts, [weight] * len(counts), weight * total)
    by_squares = squares(counts, total)
    assert by_weight.estimate == pytest.approx(by_squares.estimate)
    assert by_weight.se == pytest.approx(by_squares.se, abs=1e-6)
    assert by_weight.high == pytest.approx(by_squares.high, abs=1e-6)


def _tried(catches: list[int], form: RemovalForm) -> Estimate:
    try:
        return removal(catches, form)
    except CannotEstimate:
        assume(False)
        raise


def _likelihood_of_passes(catches: list[int], n: int) -> float:
    """Each pass a binomial draw from those that were left, at the chance of capture that suits n best."""
    left = [n - sum(catches[:place]) for place in range(len(catches))]
    p = sum(catches) / sum(left)
    return float(np.sum(stats.binom.logpmf(catches, left, p)))


@given(few_catches)
def test_no_whole_number_near_or_far_is_likelier_than_the_removal_estimate(catches: list[int]) -> None:
    found = _tried(catches, RemovalForm.WHOLE)
    best = _likelihood_of_passes(catches, int(found.estimate))
    around = range(sum(catches), min(int(found.estimate * 2) + 20, sum(catches) + 400))
    assert all(_likelihood_of_passes(catches, n) <= best + 1e-7 for n in around)


@given(few_catches)
def test_the_removal_interval_is_what_a_likelihood_ratio_test_keeps(catches: list[int]) -> None:
    found = _tried(catches, RemovalForm.WHOLE)
    bar = _likelihood_of_passes(catches, int(found.estimate)) - float(stats.chi2.ppf(0.95, 1)) / 2
    high = found.high if found.high is not None else inf
    candidates = range(sum(catches), min(int(found.estimate * 2) + 20, sum(catches) + 400))
    for n in candidates:
        distance = _likelihood_of_passes(catches, n) - bar
        if abs(distance) > 1e-6:
            assert (distance > 0) == (found.low <= n <= high)


@given(few_catches)
def test_carle_strub_is_the_first_number_that_meets_their_condition(catches: list[int]) -> None:
    """Their equation 7 in exact fractions, tried number by number."""
    total, k = sum(catches), len(catches)
    weighted = sum((k - i) * c for i, c in enumerate(catches, start=1))

    def met(n: int) -> bool:
        product = Fraction(n + 1, n - total + 1)
        for i in range(1, k + 1):
            product *= Fraction(k * n - weighted - total + 1 + k - i, k * n - weighted + 2 + k - i)
        return product <= 1

    found = int(carle_strub(catches).estimate)
    assert met(found)
    assert not any(met(n) for n in range(total, found))


@given(st.integers(1, 500), st.integers(0, 500))
def test_two_catches_give_the_same_by_the_explicit_and_the_conditional_form(first: int, second: int) -> None:
    assume(second < first)
    explicit, conditional = two_pass([first, second]), conditional_likelihood([first, second])
    assert conditional.estimate == pytest.approx(explicit.estimate, rel=1e-6)
    assert conditional.se == pytest.approx(explicit.se, rel=1e-4, abs=1e-9)


def test_three_catches_give_sebers_explicit_estimate() -> None:
    """Seber 2002, eq. 7.24, as the manual of the R package FSA quotes it."""
    for first, second, third in [(72, 56, 46), (38, 26, 12), (10, 6, 3), (100, 20, 5)]:
        x, y = 2 * first + second, first + second + third
        explicit = (6 * x**2 - 3 * x * y - y**2 + y * sqrt(y**2 + 6 * x * y - 3 * x**2)) / (18 * (x - y))
        assert conditional_likelihood([first, second, third]).estimate == pytest.approx(explicit)


def _kept(drawn: list[tuple[int, int, int]], numbers: range) -> dict[int, float]:
    """How far each whole number lies above the bar of a likelihood-ratio test, by scipy's hypergeometric
    distribution; the best number may lie between two whole ones, a little above both."""
    fits = {n: sum(float(stats.hypergeom.logpmf(r, n, m, c)) for m, c, r in drawn) for n in numbers}
    bar = max(fits.values()) - float(stats.chi2.ppf(0.95, 1)) / 2
    return {n: fit - bar for n, fit in fits.items()}


def _holds_what_is_kept(found: Estimate, kept: dict[int, float]) -> None:
    """Above the best number, for an estimate below it widens the interval downwards."""
    assert found.high is not None
    best = max(kept, key=kept.__getitem__)
    assert all(far > -0.01 for n, far in kept.items() if best < n <= found.high)
    assert all(far < 0.2 for n, far in kept.items() if not found.low <= n <= found.high)


marked_again = st.tuples(st.integers(1, 40), st.integers(0, 30), st.integers(0, 30))


@given(marked_again)
def test_two_observers_and_chapman_have_the_interval_that_a_likelihood_ratio_test_keeps(
    seen: tuple[int, int, int],
) -> None:
    both, first_only, second_only = seen
    first, second = both + first_only, both + second_only
    by_observers = two_observers(first, second, both)
    by_marks = chapman(first, second, both, ChapmanInterval.LIKELIHOOD)
    assert (by_observers.low, by_observers.high) == (by_marks.low, by_marks.high)
    assert by_marks.high is not None
    numbers = range(sum(seen), 2 * int(by_marks.high) + 20)
    _holds_what_is_kept(by_marks, _kept([(first, second, both)], numbers))


@given(st.lists(st.integers(0, 6), min_size=1, max_size=5), st.integers(4, 12))
def test_schnabel_has_the_interval_that_a_likelihood_ratio_test_keeps(again: list[int], size: int) -> None:
    drawn, at_large = [], size
    for r in again:
        drawn.append((at_large, size, min(r, size)))
        at_large += size - min(r, size)
    assume(sum(r for _, _, r in drawn) > 0)
    found = schnabel([size] * (len(again) + 1), [0, *(r for _, _, r in drawn)])
    assert found.high is not None
    assume(found.high < 20_000)
    _holds_what_is_kept(found, _kept(drawn, range(at_large, 2 * int(found.high) + 20)))


@pytest.mark.parametrize("catches", [[38, 26, 12], [79, 28], [53, 22, 14, 4], [10, 0], [30, 12, 5]])
def test_the_interval_of_carle_strub_is_the_middle_of_their_weighted_likelihood(catches: list[int]) -> None:
    """By brute force: binomial draws pass by pass, averaged over chances of capture by Gauss's rule."""
    nodes, weights = np.polynomial.legendre.leggauss(400)
    chances = (nodes + 1) / 2
    numbers = np.arange(sum(catches), 60_000)
    left = [numbers - sum(catches[:place]) for place in range(len(catches))]
    mass = np.zeros(len(numbers))
    for p, weight in zip(chances, weights, strict=True):
        mass += weight * np.exp(sum(stats.binom.logpmf(c, n, p) for c, n in zip(catches, left, strict=True)))
    shares = np.cumsum(mass / np.sqrt(numbers))
    low, high = numbers[np.searchsorted(shares, [0.025 * shares[-1], 0.975 * shares[-1]])]
    found = carle_strub(catches)
    assert found.low == low
    assert found.high == pytest.approx(high, rel=0.02)


def test_with_many_animals_swapped_observers_have_the_plain_log_normal_interval() -> None:
    """Half an animal more or less then hardly matters: log-normal from the standard error (Chao 1987)."""
    found = two_observers_swapped(600, 100, 550, 120)
    assert found.se is not None
    assert found.high is not None
    seen = 600 + 100 + 550 + 120
    unseen = found.estimate - seen
    spread = np.exp(1.959964 * sqrt(log(1 + (found.se / unseen) ** 2)))
    assert found.low == pytest.approx(seen + unseen / spread, abs=1)
    assert found.high == pytest.approx(seen + unseen * spread, abs=2)


@given(st.integers(20, 200), st.integers(1, 15), st.integers(20, 200), st.integers(1, 15))
def test_swapped_roles_have_the_greatest_likelihood_by_numeric_search(
    first_leads: int, second_adds: int, second_leads: int, first_adds: int
) -> None:
    """Whether a seen animal was led or added: scipy.optimize finds the likeliest chances."""

    def against(chances: "np.ndarray[tuple[int, ...], np.dtype[np.float64]]") -> float:
        p1, p2 = (1 / (1 + np.exp(-chance)) for chance in chances)
        either = 1 - (1 - p1) * (1 - p2)
        return -float(
            first_leads * log(p1 / either)
            + second_adds * log((1 - p1) * p2 / either)
            + second_leads * log(p2 / either)
            + first_adds * log((1 - p2) * p1 / either)
        )

    found = optimize.minimize(
        against, np.array([1.0, 1.0]), method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}
    )
    ours = swapped_detection(first_leads, second_adds, second_leads, first_adds)
    theirs = 1 / (1 + np.exp(-found.x))
    assert (ours.first, ours.second) == pytest.approx(tuple(theirs), abs=1e-4)
