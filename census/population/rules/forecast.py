"""What to expect of a number of animals in the next quarter, and how earlier expectations fared.

A range, not a number: births and deaths come at the rates of the house's own history, which are themselves
only known from so many deaths and births. What people decide (bring in, send away) is not foreseen and is
named with the range.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from census.estimators.rules.estimate import Estimate, need
from census.estimators.rules.proportions import wilson
from inventory.book.rules.words import count_of

FEWEST_QUARTERS = 4
"""With less history than this no range is given (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Quarter:
    """One quarter of a taxon: animals at its start, born (and divided, settled), died (and unaccounted)."""

    opening: int
    born: int
    died: int


@dataclass(frozen=True, slots=True)
class Expected:
    """Between ``low`` and ``high`` in 19 of 20 quarters, if the house goes on as before."""

    low: int
    middle: int
    high: int


def expected_closing(
    opening: int, history: Sequence[Quarter], *, draws: int = 4_000, seed: int = 1
) -> Expected:
    """The range of the next closing.

    The chance of death is drawn for each quarter anew from a beta distribution, births from a gamma-Poisson,
    both fitted to the quarters by their mean and their spread beyond chance (moments; Kleinman 1973,
    J. Am. Stat. Assoc. 68:46-54, from memory): an aquarium's quarters differ more than coins do.
    """
    need(opening >= 0, "Animals below zero: a birth is missing; there is nothing to expect from that.")
    quarters = [quarter for quarter in history if quarter.opening > 0]
    need(
        len(quarters) >= FEWEST_QUARTERS,
        f"{count_of(len(quarters), 'quarter')} of history with animals; a range needs {FEWEST_QUARTERS}.",
    )
    random = np.random.default_rng(seed)
    died = _deaths(opening, quarters, draws, random)
    born = _births(quarters, draws, random)
    low, middle, high = np.quantile(opening - died + born, [0.025, 0.5, 0.975], method="nearest")
    return Expected(int(low), int(middle), int(high))


def _deaths(
    opening: int, quarters: Sequence[Quarter], draws: int, random: np.random.Generator
) -> "np.ndarray[tuple[int, ...], np.dtype[np.int64]]":
    """Drawn numbers of deaths; more than were there at the start may die, for some are born."""
    n = np.array([quarter.opening for quarter in quarters], dtype=float)
    x = np.minimum(np.array([quarter.died for quarter in quarters], dtype=float), n)
    mean = (x.sum() + 0.5) / (n.sum() + 1)
    spread = float(np.sum((x - n * mean) ** 2 / (n * mean * (1 - mean))) / max(len(quarters) - 1, 1))
    average = float(n.mean())
    # Correlation within a quarter: what lies above a spread of one is more than chance.
    within = min(max((spread - 1) / max(average - 1, 1), 1 / (n.sum() + 1)), 0.9)
    weight = 1 / within - 1
    chance = random.beta(mean * weight, (1 - mean) * weight, draws)
    return random.binomial(opening, chance).astype(np.int64)


def _births(
    quarters: Sequence[Quarter], draws: int, random: np.random.Generator
) -> "np.ndarray[tuple[int, ...], np.dtype[np.int64]]":
    born = np.array([quarter.born for quarter in quarters], dtype=float)
    if not born.any():
        return np.zeros(draws, dtype=np.int64)
    mean = float(born.mean())
    beyond = max(float(born.var(ddof=1)) - mean, mean * mean / (len(quarters) * max(mean, 1)))
    shape = mean * mean / beyond
    return random.poisson(random.gamma(shape, mean / shape, draws)).astype(np.int64)


def coverage(expected: Sequence[Expected], came: Sequence[int]) -> Estimate:
    """Share of earlier ranges that held what came, with its interval; 0.95 is what was promised."""
    need(len(expected) == len(came), "Each range needs the number that came.")
    inside = sum(one.low <= n <= one.high for one, n in zip(expected, came, strict=True))
    return wilson(inside, len(came))
