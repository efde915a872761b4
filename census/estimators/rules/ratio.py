"""Counted by weight or volume: some portions are counted and weighed, the whole is only weighed."""

from collections.abc import Sequence
from math import sqrt
from statistics import fmean

from scipy.special import stdtrit

from .estimate import TAIL, Estimate, need, need_none_below_zero, shaky

FEW_PORTIONS = 5
"""With fewer portions the standard error itself is not known well (`common practice, no source`)."""

VARYING_WEIGHT = 0.10
"""The ratio's bias is negligible when the mean weight is known better (Cochran 1977, 6.8, from memory)."""


def ratio(counts: Sequence[float], weights: Sequence[float], total_weight: float) -> Estimate:
    """Animals in `total_weight` (or volume), from portions with their counts and weights in the same unit.

    R = sum(y) / sum(x); variance of Cochran 1977, 6.4, with the sample's mean weight; finite population
    correction one less the share of the weight that was counted; t interval, n - 1 degrees of freedom.
    """
    _check(counts, weights, total_weight)
    portions, weighed, counted = len(counts), sum(weights), sum(counts)
    each = counted / weighed
    residual = sum((y - each * x) ** 2 for y, x in zip(counts, weights, strict=True)) / (portions - 1)
    left = max(0.0, 1 - weighed / total_weight)
    se = total_weight / fmean(weights) * sqrt(left * residual / portions)
    estimate = each * total_weight
    half = float(stdtrit(portions - 1, 1 - TAIL)) * se
    return Estimate(
        estimate=estimate,
        low=max(min(counted, estimate), estimate - half),
        high=estimate + half,
        se=se,
        method="ratio by weight or volume, finite population correction by weight, t interval",
        assumptions=(
            "The portions were taken at random from the mixed whole, and counted without error.",
            "Number goes with weight: portions and whole have the same animals per unit.",
        ),
        warnings=(*_about_portions(weights, left), *shaky(estimate, se)),
    )


def _check(counts: Sequence[float], weights: Sequence[float], total_weight: float) -> None:
    need_none_below_zero("counts and weights", [*counts, *weights])
    need(
        len(counts) == len(weights),
        f"Each portion needs a count and a weight: here are {len(counts)} counts, {len(weights)} weights.",
    )
    need(len(counts) > 1, "One portion shows no spread: count and weigh at least two.")
    need(sum(weights) > 0, "The portions weigh nothing.")
    # Weights are sums of readings: a hair of rounding is not an error of the person who weighed.
    need(
        total_weight >= sum(weights) * (1 - 1e-9),
        f"The whole ({total_weight:g}) cannot weigh less than its portions ({sum(weights):g}).",
    )


def _about_portions(weights: Sequence[float], left: float) -> tuple[str, ...]:
    found = []
    portions, mean = len(weights), fmean(weights)
    if portions < FEW_PORTIONS and left > 0:
        found.append(f"{portions} portions only: take {FEW_PORTIONS} or more.")
    spread = sqrt(sum((weight - mean) ** 2 for weight in weights) / (portions - 1) / portions)
    if spread > VARYING_WEIGHT * mean and left > 0:
        found.append(
            "The portions differ much in weight, which biases the ratio: take portions of like weight."
        )
    return tuple(found)
