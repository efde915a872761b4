"""Removal by the weighted likelihood of Carle and Strub, which answers also when catches do not fall."""

from collections.abc import Sequence

from .catches import Catches, catches_of
from .estimate import Estimate, Z, shaky
from .removal import ASSUMPTIONS, nothing_later
from .zippin import expected_value_se

ALPHA = BETA = 1
"""The beta weight on the chance of capture: 1 and 1 is flat, as Carle and Strub recommend."""


def carle_strub(catches: Sequence[int]) -> Estimate:
    """Carle and Strub 1978, Biometrics 34:621-630: the smallest whole number that meets their condition.

    Variance: Zippin's in its expected-value form (`expected_value_se` says which that is). The normal
    interval is cut at what was caught.
    """
    taken = catches_of(catches)
    estimate = smallest_number(taken)
    se = expected_value_se(taken.passes, taken.chance(estimate), estimate)
    return Estimate(
        estimate=estimate,
        low=max(taken.total, estimate - Z * se),
        high=estimate + Z * se,
        se=se,
        method="removal, Carle-Strub weighted likelihood, Zippin's variance in its expected-value form, "
        "normal interval",
        assumptions=ASSUMPTIONS,
        warnings=(*_not_falling(taken), *nothing_later(taken), *shaky(estimate, se)),
    )


def smallest_number(taken: Catches) -> int:
    """By doubling, then halving: the condition fails below the answer and holds from there on."""
    if _met(taken, taken.total):
        return taken.total
    below, step = taken.total, 1
    while not _met(taken, below + step):
        below, step = below + step, step * 2
    above = below + step
    while above - below > 1:
        middle = (below + above) // 2
        below, above = (below, middle) if _met(taken, middle) else (middle, above)
    return above


def _met(taken: Catches, n: int) -> bool:
    """Whether the weighted likelihood of n + 1 is not above that of n (their equation 7).

    In whole numbers, for equality does occur (31, 31) and rounding would miss it.
    """
    k = taken.passes
    exposures = k * n - taken.weighted
    left, right = n + 1, n - taken.total + 1
    for place in range(1, k + 1):
        left *= exposures - taken.total + BETA + k - place
        right *= exposures + ALPHA + BETA + k - place
    return left <= right


def _not_falling(taken: Catches) -> tuple[str, ...]:
    if taken.weighted > taken.weighted_from_behind:
        return ()
    return (
        "The catches do not fall: the answer comes from the method's weights more than from the catches. "
        "Make more passes.",
    )
