"""Deaths over animal-days, and two such rates compared.

An animal-day is one animal held for one day: ten animals for a day are as much as one for ten days, so
that a tank that was full for a week and a tank that was full all quarter can be compared.
"""

from dataclasses import dataclass
from math import exp, log, sqrt

from scipy.optimize import brentq
from scipy.special import bdtr, bdtrc

from census.estimators.rules.estimate import TAIL, Estimate, Z, need, need_none_below_zero
from census.estimators.rules.rates import poisson

PER_ANIMAL_DAYS = 100


def death_rate(deaths: int, animal_days: float) -> Estimate:
    """Deaths per 100 animal-days, with the exact Poisson interval (Garwood 1936)."""
    return poisson(deaths, exposure=animal_days, per=PER_ANIMAL_DAYS)


@dataclass(frozen=True, slots=True)
class RateRatio:
    """How many times the first rate is the second. ``ratio`` is the plain quotient, None when the second
    has no deaths; ``low`` and ``high`` are the 95 % mid-P limits, None for no limit; ``p`` is two-sided.
    """

    ratio: float | None
    median_unbiased: float | None
    low: float
    high: float | None
    p: float
    method: str = "mid-P from the binomial given both counts"


def rate_ratio(deaths: int, animal_days: float, other_deaths: int, other_animal_days: float) -> RateRatio:
    """Compares two death rates, of two periods or two tanks.

    Given how many died in all, the number among them that died in the first is binomial with chance
    R·e / (R·e + f), where R is the ratio of the rates and e, f the exposures (Rothman and Greenland, Modern
    Epidemiology, from memory). The median-unbiased ratio is where both tails are even; the limits are where
    a tail of half the weight of what was seen is 2.5 %. ``p`` is twice the smaller mid-P tail, at most 1.
    """
    need_none_below_zero("deaths", [deaths, other_deaths])
    need(animal_days > 0 and other_animal_days > 0, "Both need animal-days: nothing can die in no time.")
    both = deaths + other_deaths
    need(both > 0, "Nobody died in either: there is nothing to compare.")

    def tail(log_ratio: float) -> float:
        """Mid-P chance of as many or more deaths in the first."""
        weight = exp(log_ratio) * animal_days
        chance = weight / (weight + other_animal_days)
        more = float(bdtrc(deaths, both, chance))
        at_least = float(bdtrc(deaths - 1, both, chance)) if deaths else 1.0
        return (more + at_least) / 2

    def where(level: float) -> float:
        return exp(float(brentq(lambda at: tail(at) - level, -60, 60, xtol=1e-12)))

    upper = tail(0.0)
    return RateRatio(
        ratio=(deaths / animal_days) / (other_deaths / other_animal_days) if other_deaths else None,
        median_unbiased=where(0.5) if deaths and other_deaths else (0.0 if not deaths else None),
        low=where(TAIL) if deaths else 0.0,
        high=where(1 - TAIL) if other_deaths else None,
        p=min(1.0, 2 * min(upper, 1 - upper)),
    )


def exact_p(deaths: int, animal_days: float, other_deaths: int, other_animal_days: float) -> float:
    """Two-sided exact chance of counts no likelier than these when both rates are the same."""
    both = deaths + other_deaths
    chance = animal_days / (animal_days + other_animal_days)
    chances = [
        float(bdtr(n, both, chance)) - (float(bdtr(n - 1, both, chance)) if n else 0.0)
        for n in range(both + 1)
    ]
    # A hair of slack, for equal chances that rounding made unequal.
    return min(1.0, sum(one for one in chances if one <= chances[deaths] * (1 + 1e-7)))


def wald_ratio(deaths: int, animal_days: float, other_deaths: int, other_animal_days: float) -> Estimate:
    """The quotient with the interval of its logarithm (Rothman 1998, Modern Epidemiology, p. 238)."""
    need(deaths > 0 and other_deaths > 0, "This interval needs deaths in both; take the mid-P one.")
    ratio = (deaths / animal_days) / (other_deaths / other_animal_days)
    se = sqrt(1 / deaths + 1 / other_deaths)
    return Estimate(
        estimate=ratio,
        low=exp(log(ratio) - Z * se),
        high=exp(log(ratio) + Z * se),
        se=se,
        method="Wald interval of the logarithm; se is of the logarithm",
    )


def animal_days(steps: list[tuple[float, int]], *, start: float, end: float, opening: int) -> float:
    """Animal-days between ``start`` and ``end`` (days), from what was there and each change (day, +n or -n).

    What fell below zero, for a birth was not entered yet, holds nobody: it counts as none.
    """
    need(end > start, "The period must end after it starts.")
    held, since, total = opening, start, 0.0
    for when, change in sorted(steps):
        need(start <= when <= end, f"A change on day {when} lies outside the period.")
        total += max(held, 0) * (when - since)
        held, since = held + change, when
    return total + max(held, 0) * (end - since)
