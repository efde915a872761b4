"""An interval for a number that is known to be at least what was seen."""

from math import exp, log, sqrt

from .estimate import Z


def interval_above_seen(seen: float, unseen: float, variance: float) -> tuple[float, float]:
    """Log-normal 95 % interval of ``seen + unseen``; it never falls below what was seen.

    `unseen` is the estimated number that nobody saw, `variance` that of the estimate. Chao 1987,
    Biometrics 43:783-791; Williams, Nichols and Conroy 2002, 14.2.4 (both from memory).
    """
    if unseen <= 0:
        return seen, seen
    spread = exp(Z * sqrt(log(1 + variance / unseen**2)))
    return seen + unseen / spread, seen + unseen * spread
