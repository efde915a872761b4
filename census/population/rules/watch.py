"""A watch on deaths: the cumulative sum of what came above the usual, with a known rate of false alarms.

Poisson CUSUM (Lucas 1985, Technometrics 27:129-144). After each day C = max(0, C + deaths - k); the alarm
speaks when C reaches h. ``k`` lies between the usual and the doubled rate, where Lucas puts it, and ``h`` is
the least whole step at which false alarms are as rare as asked. How rare they are is not simulated: the days
until an alarm are those of a Markov chain with known steps (Brook and Evans 1972, Biometrika 59:539-549).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm, log

import numpy as np
from scipy.special import pdtr

from census.estimators.rules.estimate import need

DAYS_OF_A_YEAR = 365


@dataclass(frozen=True, slots=True)
class Limits:
    """``k``, what is taken off each day; ``h``, at which the alarm speaks; both in deaths.

    ``usual`` deaths a day are expected; an alarm without a cause comes every ``days_between_false`` days
    on average, and deaths at ``raised`` a day are noticed after ``days_to_notice`` days on average.
    """

    k: Fraction
    h: Fraction
    usual: float
    raised: float
    days_between_false: float
    days_to_notice: float

    @property
    def false_alarms_a_year(self) -> float:
        return DAYS_OF_A_YEAR / self.days_between_false


def run_length(k: Fraction, h: Fraction, rate: float, *, head_start: Fraction = Fraction(0)) -> float:
    """Average number of days until an alarm when deaths come at ``rate`` a day.

    Exact: with k and h as fractions C only takes multiples of their common unit, and each is a state.
    """
    need(h > 0 and k > 0, "k and h must be above zero.")
    need(rate >= 0, "A rate of deaths is zero or more.")
    unit = Fraction(1, np.lcm(k.denominator, h.denominator))
    states, step, one = int(h / unit), int(k / unit), int(1 / unit)
    stay = np.zeros((states, states))
    most = (states + step) // one + 1
    chances = _chances(rate, most)
    for state in range(states):
        for deaths, chance in enumerate(chances):
            to = max(0, state + deaths * one - step)
            if to >= states:
                break
            stay[state, to] += chance
    expected = np.linalg.solve(np.eye(states) - stay, np.ones(states))
    return float(expected[min(int(head_start / unit), states - 1)])


def _chances(rate: float, most: int) -> list[float]:
    """Chances of 0, 1, 2 ... deaths in a day."""
    up_to = [float(pdtr(n, rate)) for n in range(most + 1)]
    return [up_to[0], *(up_to[n] - up_to[n - 1] for n in range(1, most + 1))]


def limits_for(
    usual: float, *, false_alarms_a_year: float = 1.0, times: float = 2.0, longest: int = 60
) -> Limits:
    """The limits that notice ``times`` the usual deaths soonest with at most so many false alarms a year.

    ``k`` is Lucas's (raised - usual) / (log raised - log usual), to the nearest quarter of a death that is
    above the usual, or for rare deaths to a part of it, so that the chain stays small. Raises
    CannotEstimate when no ``h`` up to ``longest`` deaths is quiet enough.
    """
    need(usual > 0, "Nobody has died here yet: there is no usual rate to compare with.")
    need(times > 1, "A raised rate is above the usual one.")
    need(false_alarms_a_year > 0, "Some false alarms must be allowed: no watch is without.")
    raised = usual * times
    k = _reference(usual, raised)
    wanted = DAYS_OF_A_YEAR / false_alarms_a_year

    def quiet(tries: int) -> float:
        return run_length(k, Fraction(tries, k.denominator), usual)

    # The longer the way to h, the rarer a false alarm: the least h is found by halving.
    enough, most = 1, longest * k.denominator
    while quiet(enough) < wanted:
        need(
            enough < most,
            f"No limit up to {longest} deaths is quiet enough; watch a longer span than a day.",
        )
        enough = min(2 * enough, most)
    too_few = enough // 2
    while enough - too_few > 1:
        between = (enough + too_few) // 2
        if quiet(between) >= wanted:
            enough = between
        else:
            too_few = between
    h = Fraction(enough, k.denominator)
    return Limits(k, h, usual, raised, quiet(enough), run_length(k, h, raised))


def _reference(usual: float, raised: float) -> Fraction:
    """Lucas's k as a fraction with a small denominator, above the usual rate and below the raised one."""
    best = (raised - usual) / log(raised / usual)
    for parts in (4, 10, 20, 50, 100, 200, 400):
        k = Fraction(max(1, round(best * parts)), parts)
        if usual < k < raised:
            return k
    need(False, "Deaths are too rare here for a watch by the day: less than one in a year.")
    raise AssertionError  # pragma: no cover - need() has raised


@dataclass(frozen=True, slots=True)
class Day:
    """``sum`` is C after the day; ``alarm`` says that it reached h, after which C begins at zero again."""

    deaths: int
    sum: Fraction
    alarm: bool


def watch(deaths: Iterable[int], limits: Limits) -> list[Day]:
    """Each day's deaths, in order, with the sum and the alarms.

    Counted in whole parts of a death, exact as fractions are and many times as fast; few sums differ, and
    each is made once.
    """
    parts = lcm(limits.k.denominator, limits.h.denominator)
    taken, limit = int(limits.k * parts), int(limits.h * parts)
    sums = {0: Fraction(0)}
    days, total = [], 0
    for number in deaths:
        total = max(0, total + number * parts - taken)
        alarm = total >= limit
        told = sums.get(total)
        if told is None:
            told = sums[total] = Fraction(total, parts)
        days.append(Day(number, told, alarm))
        if alarm:
            total = 0
    return days


def began(days: Sequence[Day], alarm: int) -> int:
    """The day after which the sum that led to the alarm on day ``alarm`` was last at zero."""
    for at in range(alarm - 1, -1, -1):
        if days[at].sum == 0 or days[at].alarm:
            return at + 1
    return 0
