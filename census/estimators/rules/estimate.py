"""What every estimator returns, how it refuses, and the limits that several of them share."""

from collections.abc import Iterable
from dataclasses import dataclass

from scipy.special import ndtri

TAIL = 0.025
"""Chance left on each side of an interval: all intervals here are of 95 %."""

Z = float(ndtri(1 - TAIL))

SHAKY_SHARE = 0.30
"""A standard error above this share of the estimate is warned about (`common practice, no source`)."""

FEW_RECAPTURES = 7
"""With at least this many marked animals seen again, the bias of Chapman's estimate is negligible
(Robson and Regier 1964; Krebs, Ecological Methodology, from memory)."""


class CannotEstimate(ValueError):
    """The method cannot give a number from these values; the message is a sentence that says why."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """One estimate.

    `low` and `high` are the 95 % interval unless `method` says otherwise; `high` is None when the data
    set no upper limit. `se` is the standard error, None where the method gives none. All of them are in
    the unit of what was asked: animals, a share from 0 to 1, or a rate.
    """

    estimate: float
    low: float
    high: float | None
    se: float | None
    method: str
    assumptions: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


def need(condition: bool, otherwise: str) -> None:
    """Raises CannotEstimate with the sentence `otherwise` unless the condition holds."""
    if not condition:
        raise CannotEstimate(otherwise)


def need_none_below_zero(name: str, numbers: Iterable[float]) -> None:
    """Counts and weights are zero or more."""
    below = [number for number in numbers if not number >= 0]
    need(not below, f"{name} cannot be below zero: {', '.join(map(str, below))}.")


def shaky(estimate: float, se: float) -> tuple[str, ...]:
    """The warning for a standard error that is large beside the estimate, or nothing."""
    if estimate <= 0 or se <= SHAKY_SHARE * estimate:
        return ()
    return (
        f"The standard error is {100 * se / estimate:.0f} % of the estimate, more than "
        f"{100 * SHAKY_SHARE:.0f} %: too uncertain to move a book.",
    )


def few_recaptures(recaptured: int) -> tuple[str, ...]:
    """The warning for few marked animals seen again, or nothing."""
    if recaptured >= FEW_RECAPTURES:
        return ()
    return (
        f"Only {recaptured} marked seen again: with fewer than {FEW_RECAPTURES} the estimate tends to be "
        "too low and its interval too short.",
    )
