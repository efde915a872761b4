"""Intervals for a number that is known to be at least what was seen."""

from math import exp, log, sqrt

from scipy.optimize import brentq, minimize_scalar
from scipy.special import chdtri, gammaln, xlogy

from .estimate import TAIL, Z


def interval_above_seen(seen: float, unseen: float, variance: float) -> tuple[float, float]:
    """Log-normal 95 % interval of ``seen + unseen``; it never falls below what was seen.

    `unseen` is the estimated number that nobody saw, `variance` that of the estimate. Chao 1987,
    Biometrics 43:783-791; Williams, Nichols and Conroy 2002, 14.2.4 (both from memory).
    """
    if unseen <= 0:
        return seen, seen
    spread = exp(Z * sqrt(log(1 + variance / unseen**2)))
    return seen + unseen / spread, seen + unseen * spread


def interval_of_two_looks(first: int, second: int, both: int) -> tuple[float, float]:
    """Profile-likelihood 95 % interval of two independent looks, `both` above zero (Cormack 1992, Biometrics
    48:567-576, from memory): all numbers that a likelihood-ratio test does not reject, each at the chances of
    detection that suit it best.

    It has a width also when one look found nothing new, and covers better than the log-normal one when few
    were missed.
    """
    seen = float(first + second - both)

    def likelihood(n: float) -> float:
        value = float(gammaln(n + 1) - gammaln(n - seen + 1)) + (first + second) * log(1 / n)
        return value + float(xlogy(n - first, 1 - first / n) + xlogy(n - second, 1 - second / n))

    far = 2 * first * second / both + 10
    top = minimize_scalar(lambda n: -likelihood(n), bounds=(seen, far), method="bounded").x
    best = seen if likelihood(seen) >= likelihood(top) else float(top)
    bar = likelihood(best) - float(chdtri(1, 2 * TAIL)) / 2
    while likelihood(far) > bar:
        far *= 2
    high = float(brentq(lambda n: likelihood(n) - bar, best, far))
    if likelihood(seen) >= bar:
        return seen, high
    return float(brentq(lambda n: likelihood(n) - bar, seen, best)), high
