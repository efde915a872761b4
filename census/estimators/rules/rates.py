"""Events over an exposure: exact Poisson limits."""

from math import sqrt

from scipy.special import gammaincinv

from .estimate import TAIL, Estimate, need, need_none_below_zero


def garwood(count: int) -> tuple[float, float]:
    """Exact 95 % limits of a Poisson mean of which `count` were seen (Garwood 1936, Biometrika 28:437-442).

    The chi-square form, by way of the gamma distribution: half of chi-square with 2k and 2k + 2 degrees.
    """
    low = float(gammaincinv(count, TAIL)) if count else 0.0
    return low, float(gammaincinv(count + 1, 1 - TAIL))


def poisson(count: int, exposure: float = 1, per: float = 1) -> Estimate:
    """Events in an exposure (animal-days, visits, litres) as a rate ``per`` so many units of it."""
    need_none_below_zero("count", [count])
    need(exposure > 0, "The exposure must be above zero: nothing can happen in no time.")
    need(per > 0, "The unit of the rate must be above zero.")
    unit = per / exposure
    low, high = garwood(count)
    return Estimate(
        estimate=count * unit,
        low=low * unit,
        high=high * unit,
        se=sqrt(count) * unit,
        method="exact Poisson interval (Garwood)",
        assumptions=(
            "The events happen independently of each other and at one rate; deaths in one outbreak do not.",
        ),
        warnings=() if count else ("None seen does not mean none happen: read the upper limit.",),
    )
