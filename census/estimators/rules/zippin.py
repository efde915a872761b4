"""Zippin's conditional likelihood of the chance of capture, and his large-sample variance."""

from math import sqrt

from scipy.optimize import brentq

from .catches import Catches


def conditional_chance(taken: Catches) -> float:
    """Chance of capture in a pass, by the likelihood of the passes of those that were caught (Zippin 1956,
    Biometrics 12:163-189). The catches must fall; then there is exactly one answer above zero."""
    escaped = taken.weighted_from_behind / taken.total
    if escaped == 0:
        return 1.0

    def surplus(q: float) -> float:
        powers = [q**place for place in range(taken.passes)]
        return sum(place * power for place, power in enumerate(powers)) / sum(powers) - escaped

    return 1 - float(brentq(surplus, 0.0, 1.0))


def expected_value_se(passes: int, p: float, estimate: float) -> float:
    """Standard error in animals, by Zippin's variance in its expected-value form:
    N (1 - q^k) q^k / ((1 - q^k)^2 - (p k)^2 q^(k - 1)).

    The other form in use puts the observed catch for N (1 - q^k). For the catches 38, 26, 12 and Carle and
    Strub's estimate, the two give 9.69 and 8.58.
    """
    q = 1 - p
    below = (1 - q**passes) ** 2 - (p * passes) ** 2 * q ** (passes - 1)
    return sqrt(estimate * (1 - q**passes) * q**passes / below)
