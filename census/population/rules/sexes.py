"""The sex ratio, with its interval, of those whose sex is known."""

from census.estimators.rules.estimate import Estimate, need
from census.estimators.rules.proportions import clopper_pearson


def share_of_females(males: int, females: int) -> Estimate:
    """Share of females among males and females; hermaphrodites and unknown stand apart.

    The exact interval: groups here are small.
    """
    need(males + females > 0, "The sex of none is known.")
    return clopper_pearson(females, males + females)
