"""What the removal estimators need of the catches."""

from collections.abc import Sequence
from dataclasses import dataclass

from .estimate import need, need_none_below_zero


@dataclass(frozen=True, slots=True)
class Catches:
    """Catches of successive passes and their sums."""

    each: tuple[int, ...]
    total: int
    weighted: int
    """Sum of (k - i) times the catch of pass i: passes that caught animals were spared."""
    weighted_from_behind: int
    """Sum of (i - 1) times the catch of pass i: passes that caught animals had escaped."""

    @property
    def passes(self) -> int:
        return len(self.each)

    def exposures(self, n: float) -> float:
        """Times that one of n animals could have been caught, over all passes."""
        return self.passes * n - self.weighted

    def chance(self, n: float) -> float:
        """Most likely chance of capture in a pass, if there were n animals at first."""
        return self.total / self.exposures(n)


def catches_of(catches: Sequence[int]) -> Catches:
    """Checks the catches and sums them up."""
    need_none_below_zero("catches", catches)
    need(len(catches) > 1, "One pass cannot show that catches fall: at least two are needed.")
    need(sum(catches) > 0, "Nothing was caught in any pass: nothing tells how many there are.")
    last = len(catches) - 1
    return Catches(
        each=tuple(catches),
        total=sum(catches),
        weighted=sum((last - place) * catch for place, catch in enumerate(catches)),
        weighted_from_behind=sum(place * catch for place, catch in enumerate(catches)),
    )
