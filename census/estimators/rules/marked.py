"""Marked animals seen again in one later catch: Petersen and Chapman."""

from math import sqrt

from .estimate import Estimate, Z, few_recaptures, need, need_none_below_zero, shaky

ASSUMPTIONS = (
    "No animal came, left, was born or died between marking and the later catch.",
    "Marks stay on, are not overlooked, and do not change an animal's chance of being caught or seen.",
    "Marked and unmarked animals mixed before the later catch.",
)


def petersen(marked: int, caught: int, recaptured: int) -> Estimate:
    """Lincoln-Petersen, M n / m.

    Interval: normal on the marked share, with finite population and continuity corrections, turned over
    (Krebs 1989, eq. 2.4). Standard error: M sqrt(n (n - m) / m ** 3) (Seber 2002, 3.1.1).
    """
    _check(marked, caught, recaptured)
    need(caught > 1, "A catch of one animal has no spread: catch more.")
    share = recaptured / caught
    half = Z * sqrt((1 - recaptured / marked) * share * (1 - share) / (caught - 1)) + 1 / (2 * caught)
    estimate = marked / share
    se = marked * sqrt(caught * (caught - recaptured) / recaptured**3)
    unlimited = share <= half
    return Estimate(
        estimate=estimate,
        low=max(_seen(marked, caught, recaptured), marked / (share + half)),
        high=None if unlimited else marked / (share - half),
        se=se,
        method="Lincoln-Petersen, normal interval on the marked share (Krebs 1989, eq. 2.4)",
        assumptions=ASSUMPTIONS,
        warnings=(
            *few_recaptures(recaptured),
            *(("So few marked were seen again that there is no upper limit.",) if unlimited else ()),
            *shaky(estimate, se),
        ),
    )


def chapman(marked: int, caught: int, recaptured: int) -> Estimate:
    """Chapman's nearly unbiased form, (M + 1)(n + 1) / (m + 1) - 1, with variance and normal interval of
    Seber 2002, 3.1.1. The interval is cut at what was seen."""
    _check(marked, caught, recaptured)
    estimate = (marked + 1) * (caught + 1) / (recaptured + 1) - 1
    variance = (
        (marked + 1) * (caught + 1) * (marked - recaptured) * (caught - recaptured)
        / ((recaptured + 1) ** 2 * (recaptured + 2))
    )  # fmt: skip
    se = sqrt(variance)
    return Estimate(
        estimate=estimate,
        low=max(_seen(marked, caught, recaptured), estimate - Z * se),
        high=estimate + Z * se,
        se=se,
        method="Chapman, variance of Seber, normal interval",
        assumptions=ASSUMPTIONS,
        warnings=(*few_recaptures(recaptured), *shaky(estimate, se)),
    )


def _check(marked: int, caught: int, recaptured: int) -> None:
    need_none_below_zero("marked, caught and recaptured", [marked, caught, recaptured])
    need(recaptured <= caught, "More marked animals were seen again than were caught.")
    need(recaptured <= marked, "More marked animals were seen again than had been marked.")
    need(
        recaptured > 0,
        "No marked animal was seen again: nothing tells how many there are. Catch more, or look for lost "
        "marks.",
    )


def _seen(marked: int, caught: int, recaptured: int) -> int:
    return marked + caught - recaptured
