"""A share of animals, such as those that survived: two intervals."""

from math import sqrt

from scipy.special import betaincinv

from .estimate import TAIL, Estimate, Z, need, need_none_below_zero


def wilson(cases: int, of: int) -> Estimate:
    """Share of `of` animals, with the score interval of Wilson 1927 (without continuity correction)."""
    _check(cases, of)
    share = cases / of
    middle = (cases + Z * Z / 2) / (of + Z * Z)
    half = Z / (of + Z * Z) * sqrt(of * share * (1 - share) + Z * Z / 4)
    # Rounding may put an end a hair past the share at none or all.
    low = 0.0 if cases == 0 else middle - half
    high = 1.0 if cases == of else middle + half
    return _share(cases, of, low, high, "Wilson score interval")


def clopper_pearson(cases: int, of: int) -> Estimate:
    """Share of `of` animals, with the exact interval of Clopper and Pearson 1934; it is never too short."""
    _check(cases, of)
    low = float(betaincinv(cases, of - cases + 1, TAIL)) if cases else 0.0
    high = float(betaincinv(cases + 1, of - cases, 1 - TAIL)) if cases < of else 1.0
    return _share(cases, of, low, high, "Clopper-Pearson exact interval")


def _check(cases: int, of: int) -> None:
    need_none_below_zero("cases", [cases])
    need(of > 0, "A share of no animals is no number.")
    need(cases <= of, f"There cannot be {cases} cases among {of} animals.")


def _share(cases: int, of: int, low: float, high: float, method: str) -> Estimate:
    share = cases / of
    return Estimate(
        estimate=share,
        low=low,
        high=high,
        se=sqrt(share * (1 - share) / of),
        method=method,
        assumptions=("The animals are a random sample, and what befalls one does not depend on the others.",),
        warnings=() if 0 < cases < of else (
            f"{'None' if cases == 0 else 'All'} seen does not make it a rule: read the other limit.",
        ),
    )  # fmt: skip
