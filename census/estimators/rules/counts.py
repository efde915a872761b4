"""Counting all that can be seen: once, or in several passes or pictures."""

from collections.abc import Sequence
from statistics import median

from .estimate import Estimate, need, need_none_below_zero

PASSES_WANTED = 3
"""Passes or pictures that a shoal needs at least (`common practice, no source`)."""

PASSES_AGREE_WITHIN = 0.10
"""Passes further apart than this share of their middle do not agree (`common practice, no source`)."""


def full(count: int) -> Estimate:
    """One count of all animals. It has no interval, for one count cannot show its own error."""
    need_none_below_zero("count", [count])
    return Estimate(
        estimate=count,
        low=count,
        high=count,
        se=None,
        method="full count",
        assumptions=("Every animal was in sight during the count, and none was counted twice.",),
    )


def passes(counts: Sequence[int]) -> Estimate:
    """Several counts of the same animals, by passes or from pictures: their median, and their range.

    The range of n passes holds the middle of all passes that could be made with a chance of
    1 - 2 ** (1 - n), whatever their distribution: 75 % for three, 94 % for five. That is the order
    statistics' own interval for a median (David and Nagaraja, Order Statistics, 7.1, from memory).
    """
    need_none_below_zero("counts", counts)
    need(len(counts) > 1, "One pass has no range: count at least three times, or call it a full count.")
    middle, least, most = float(median(counts)), min(counts), max(counts)
    return Estimate(
        estimate=middle,
        low=least,
        high=most,
        se=None,
        method=f"median and range of {len(counts)} passes (the range is a "
        f"{100 - 100 * 2.0 ** (1 - len(counts)):.0f} % interval of the middle)",
        assumptions=(
            "The passes are independent of each other and no animals came or went between them.",
            "An animal has a fair chance of being seen: what hides in every pass is in none of the counts.",
        ),
        warnings=_about_passes(counts, middle),
    )


def _about_passes(counts: Sequence[int], middle: float) -> tuple[str, ...]:
    found = []
    if len(counts) < PASSES_WANTED:
        found.append(f"{len(counts)} passes only: {PASSES_WANTED} or more are needed for a middle value.")
    apart = max(counts) - min(counts)
    if apart > PASSES_AGREE_WITHIN * middle:
        found.append(
            f"The passes lie {apart} apart, more than {100 * PASSES_AGREE_WITHIN:.0f} % of their middle: "
            "count until the number is steady."
        )
    return tuple(found)
