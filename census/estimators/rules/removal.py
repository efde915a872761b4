"""Animals taken out in successive passes of equal effort: how many were there at first."""

from collections.abc import Sequence
from enum import StrEnum
from math import log, sqrt

from scipy.special import chdtrc, gammaln

from .catches import Catches, catches_of
from .estimate import Estimate, need, shaky
from .likelihood import best_number, not_rejected
from .zippin import conditional_chance, expected_value_se

ASSUMPTIONS = (
    "Nothing came or left between the passes, and what was caught was kept out.",
    "Every pass was made with the same effort.",
    "Every animal has the same chance of being caught, in every pass; if some learn to hide, the estimate "
    "is too low.",
)
POOR_FIT = 0.05
"""Below this probability of so poor a fit, the chance of capture is said to have changed."""


class RemovalForm(StrEnum):
    """Which likelihood is made greatest."""

    LIKELIHOOD = "likelihood"
    WHOLE = "whole"
    CONDITIONAL = "conditional"


def removal(catches: Sequence[int], form: RemovalForm = RemovalForm.LIKELIHOOD) -> Estimate:
    """Catches of successive passes, by maximum likelihood; two catches by Seber and Le Cren's explicit form.

    `likelihood` is continuous, `whole` among whole numbers, `conditional` Zippin's own. Refuses when the
    catches do not fall.
    """
    if form is RemovalForm.CONDITIONAL:
        return conditional_likelihood(catches)
    if form is RemovalForm.LIKELIHOOD and len(catches) == 2:
        return two_pass(catches)
    return maximum_likelihood(catches, whole=form is RemovalForm.WHOLE)


def two_pass(catches: Sequence[int]) -> Estimate:
    """c1 ** 2 / (c1 - c2), with the variance of Seber and Le Cren 1967 (Seber 2002, 7.2.1).

    Interval by the likelihood of the two catches, as `maximum_likelihood`: the normal one that handbooks
    print misses the truth above it in a tenth of cases (`tests/benchmarks/bench_estimators.py`)."""
    taken = _falling(catches)
    need(taken.passes == 2, "The two-pass estimate takes two catches.")
    first, second = taken.each
    estimate = first**2 / (first - second)
    low, high = _holding(taken, estimate)
    se = first * second * sqrt(first + second) / (first - second) ** 2
    p = 1 - second / first
    # When the large-sample variance may be used: Seber and Le Cren 1967, J. Anim. Ecol. 36:631 (from memory).
    enough = estimate * p**3 > 16 * (1 - p) ** 2 * (2 - p)
    return Estimate(
        estimate=estimate,
        low=low,
        high=high,
        se=se,
        method="two-pass removal (Seber and Le Cren), likelihood-ratio interval",
        assumptions=ASSUMPTIONS,
        warnings=(
            *(() if enough else ("The catches fall too little for two passes: make a third.",)),
            *(_NO_LIMIT if high is None else ()),
            *shaky(estimate, se),
        ),
    )


def maximum_likelihood(catches: Sequence[int], *, whole: bool = False) -> Estimate:
    """The number with the greatest likelihood under one chance of capture (Moran 1951, Zippin 1956).

    With `whole` among whole numbers, else continuous (Schnute 1983, Can. J. Fish. Aquat. Sci. 40:2153-2169).
    Interval: all numbers that the likelihood-ratio test does not reject. Standard error: Zippin's
    large-sample variance in its expected-value form.
    """
    taken = _falling(catches)
    estimate = _best_whole(taken) if whole else _best(taken)
    low, high = _not_rejected(taken, estimate)
    se = expected_value_se(taken.passes, taken.chance(estimate), estimate)
    return Estimate(
        estimate=estimate,
        low=low,
        high=high,
        se=se,
        method=f"removal, maximum likelihood{' in whole numbers' if whole else ''} with one chance of "
        "capture (Zippin), his variance in its expected-value form, likelihood-ratio interval",
        assumptions=ASSUMPTIONS,
        warnings=(
            *(_NO_LIMIT if high is None else ()),
            *shaky(estimate, se),
            *_changing_chance(taken, estimate),
        ),
    )


def conditional_likelihood(catches: Sequence[int]) -> Estimate:
    """Zippin's own estimate, T / (1 - q ** k), with the chance of capture from those that were caught.

    For two catches it is the estimate of `two_pass`, for three that of Seber 2002, eq. 7.24. Interval as
    there."""
    taken = _falling(catches)
    p = conditional_chance(taken)
    estimate = taken.total / (1 - (1 - p) ** taken.passes)
    low, high = _holding(taken, estimate)
    se = expected_value_se(taken.passes, p, estimate)
    return Estimate(
        estimate=estimate,
        low=low,
        high=high,
        se=se,
        method="removal, conditional likelihood with one chance of capture (Zippin), his variance in its "
        "expected-value form, likelihood-ratio interval",
        assumptions=ASSUMPTIONS,
        warnings=(
            *(_NO_LIMIT if high is None else ()),
            *shaky(estimate, se),
            *_changing_chance(taken, estimate),
        ),
    )


_NO_LIMIT = ("The catches fall so little that there is no upper limit: make more passes.",)


def _holding(taken: Catches, estimate: float) -> tuple[float, float | None]:
    """The interval of the likelihood, widened where an explicit estimate lies outside of it."""
    low, high = _not_rejected(taken, _best(taken))
    return min(low, estimate), None if high is None else max(high, estimate)


def _falling(catches: Sequence[int]) -> Catches:
    taken = catches_of(catches)
    need(
        taken.weighted > taken.weighted_from_behind,
        f"The catches do not fall ({', '.join(map(str, taken.each))}): as many or more were taken late as "
        "early, so nothing tells how many are left. Make more passes.",
    )
    return taken


def _log_likelihood(taken: Catches, n: float) -> float:
    """Of n animals, at the chance of capture that suits n best; without what does not depend on n."""
    p = taken.chance(n)
    escapes = taken.exposures(n) - taken.total
    value = float(gammaln(n + 1) - gammaln(n - taken.total + 1)) + taken.total * log(p)
    return value + (escapes * log(1 - p) if escapes > 0 else 0.0)


def _best_whole(taken: Catches) -> int:
    around = int(_best(taken))
    candidates = range(max(taken.total, around - 1), around + 3)
    return max(candidates, key=lambda n: _log_likelihood(taken, n))


def _best(taken: Catches) -> float:
    return best_number(lambda n: _log_likelihood(taken, n), taken.total)


def _not_rejected(taken: Catches, best: float) -> tuple[float, float | None]:
    return not_rejected(lambda n: _log_likelihood(taken, n), taken.total, best)


def _changing_chance(taken: Catches, estimate: float) -> tuple[str, ...]:
    """Chi-square of the catches against one chance of capture (Seber 2002, 7.2.2)."""
    p = taken.chance(estimate)
    expected = [estimate * p * (1 - p) ** place for place in range(taken.passes)]
    if p >= 1 or taken.passes < 3:
        return ()
    chi_square = sum((c - e) ** 2 / e for c, e in zip(taken.each, expected, strict=True))
    if chdtrc(taken.passes - 2, chi_square) >= POOR_FIT:
        return ()
    return (
        "The catches do not fit one chance of capture in all passes: some animals are harder to catch, or "
        "the effort changed, and the true number is probably higher.",
    )
