"""An interval for a number that is known to be at least what was seen."""

from math import exp

from .estimate import Z


def interval_above_seen(seen: float, unseen: float, relative_error: float) -> tuple[float, float]:
    """Log-normal 95 % interval of ``seen + unseen``; it never falls below what was seen.

    `unseen` is the estimated number that nobody saw, above zero, `relative_error` the standard error of its
    logarithm. Chao 1987, Biometrics 43:783-791; Williams, Nichols and Conroy 2002, 14.2.4 (both from memory).
    """
    spread = exp(Z * relative_error)
    return seen + unseen / spread, seen + unseen * spread
