"""Survival from arrival, with animals that came under observation late and animals still alive.

Kaplan and Meier 1958 (J. Am. Stat. Assoc. 53:457-481), standard error by Greenwood 1926, left truncation as
in Klein and Moeschberger, Survival Analysis, section 4.6 (from memory): an animal that enters at a time is
not at risk at that time.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt

from scipy.special import chdtrc

from census.estimators.rules.estimate import Z, need

FEW_AT_RISK = 5
"""Below this many at risk a step of the curve says little (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Life:
    """One animal: days since its arrival at which it was first followed, and last; did it die then?

    ``number`` animals of one lot that share all three are one row.
    """

    exit: float
    died: bool
    entry: float = 0.0
    number: int = 1


@dataclass(frozen=True, slots=True)
class Step:
    """The curve from ``time`` on. ``low`` and ``high``: 95 %, by the complementary log-log, which stays
    inside 0 and 1 (Kalbfleisch and Prentice 1980, from memory); None where the curve is 1 or 0."""

    time: float
    at_risk: int
    deaths: int
    survival: float
    se: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Curve:
    """Survival as steps at the times of deaths, and what should be said with it."""

    steps: tuple[Step, ...]
    animals: int
    deaths: int
    warnings: tuple[str, ...]

    def at(self, time: float) -> float:
        """The share alive at ``time``."""
        alive = [step.survival for step in self.steps if step.time <= time]
        return alive[-1] if alive else 1.0

    @property
    def median(self) -> float | None:
        """The first time at which half or fewer are alive; None when the curve never falls so far."""
        return next((step.time for step in self.steps if step.survival <= 0.5 + 1e-12), None)


def kaplan_meier(lives: Iterable[Life]) -> Curve:
    """The survival curve. Raises CannotEstimate for no animals or a life that ends before it begins."""
    rows = _checked(lives)
    steps: list[Step] = []
    survival, greenwood = 1.0, 0.0
    emptied = False
    for time in sorted({life.exit for life in rows if life.died}):
        at_risk = sum(life.number for life in rows if life.entry < time <= life.exit)
        deaths = sum(life.number for life in rows if life.died and life.exit == time)
        survival *= 1 - deaths / at_risk
        if deaths < at_risk:
            greenwood += deaths / (at_risk * (at_risk - deaths))
        emptied = emptied or (deaths == at_risk and any(life.exit > time for life in rows))
        se = survival * sqrt(greenwood)
        steps.append(Step(time, at_risk, deaths, survival, se, *_limits(survival, greenwood)))
    return Curve(
        tuple(steps),
        animals=sum(life.number for life in rows),
        deaths=sum(step.deaths for step in steps),
        warnings=tuple(_warnings(steps, emptied)),
    )


def _checked(lives: Iterable[Life]) -> list[Life]:
    rows = [life for life in lives if life.number]
    need(bool(rows), "There is no animal to follow.")
    for life in rows:
        need(
            0 <= life.entry < life.exit,
            f"A life from day {life.entry} to day {life.exit} cannot be followed.",
        )
        need(life.number > 0, "There cannot be fewer than no animals.")
    return rows


def _limits(survival: float, greenwood: float) -> tuple[float | None, float | None]:
    if not 0 < survival < 1:
        return None, None
    spread = Z * sqrt(greenwood) / log(survival)
    ends = sorted(survival ** exp(sign * spread) for sign in (1, -1))
    return ends[0], ends[1]


def _warnings(steps: Sequence[Step], emptied: bool) -> Iterable[str]:
    if emptied:
        yield (
            "For a while nobody was at risk and all that were had died: the curve falls to nothing there and "
            "cannot rise again, though animals came later."
        )
    few = next((step for step in steps if step.at_risk < FEW_AT_RISK), None)
    if few:
        yield f"From day {few.time:g} on fewer than {FEW_AT_RISK} animals are at risk: read no more from it."


@dataclass(frozen=True, slots=True)
class Comparison:
    """``chi_square`` with one degree of freedom; ``expected`` deaths in the first if both lived alike."""

    observed: int
    expected: float
    chi_square: float
    p: float


def log_rank(first: Iterable[Life], second: Iterable[Life]) -> Comparison:
    """Do two groups live alike? Mantel 1966, hypergeometric variance at each death."""
    ours, theirs = _checked(first), _checked(second)
    observed, expected, variance = 0, 0.0, 0.0
    for time in sorted({life.exit for life in (*ours, *theirs) if life.died}):
        a, b = (
            sum(life.number for life in rows if life.entry < time <= life.exit) for rows in (ours, theirs)
        )
        dead = [
            sum(life.number for life in rows if life.died and life.exit == time) for rows in (ours, theirs)
        ]
        n, d = a + b, sum(dead)
        observed += dead[0]
        expected += d * a / n
        if n > 1:
            variance += d * (a / n) * (b / n) * (n - d) / (n - 1)
    need(variance > 0, "The two groups were never at risk together when an animal died.")
    chi_square = (observed - expected) ** 2 / variance
    return Comparison(observed, expected, chi_square, float(chdtrc(1, chi_square)))
