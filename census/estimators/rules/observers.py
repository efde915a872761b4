"""Two observers of the same animals: independent, or one who leads and one who adds what was missed."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt

from .estimate import Estimate, Z, few_recaptures, need, need_none_below_zero, shaky
from .likelihood import FAR, NO_LIMIT, interval_of_marked
from .unseen import interval_above_seen

HIDING = (
    "Two observers can agree and both be wrong: animals that hide from one tend to hide from the other, "
    "and then the true number is higher than the interval."
)


@dataclass(frozen=True, slots=True)
class Detection:
    """Chance of being seen by the first, the second, at least one; and the animals that this implies."""

    first: float
    second: float
    either: float
    animals: float


def detection(first: int, second: int, both: int) -> Detection:
    """Maximum likelihood for independent observers (Lincoln and Petersen): closed form."""
    p1, p2 = both / second, both / first
    return Detection(first=p1, second=p2, either=1 - (1 - p1) * (1 - p2), animals=first * second / both)


def two_observers(first: int, second: int, both: int) -> Estimate:
    """Animals seen by the first observer, by the second, and by both, each blind to the other.

    Chapman's nearly unbiased form of Lincoln-Petersen and its variance (Seber 2002, 3.1.1). Interval by the
    hypergeometric likelihood, given how many each saw; widened where it would not hold the estimate.
    """
    need_none_below_zero("first, second and both", [first, second, both])
    need(both <= min(first, second), "Both cannot have seen more animals than one of them did.")
    need(
        both > 0,
        "No animal was seen by both, so nothing tells how many were missed. Count again, or see whether the "
        "two watched different animals.",
    )
    seen = first + second - both
    unseen = (first - both) * (second - both) / (both + 1)
    variance = unseen * (first + 1) * (second + 1) / ((both + 1) * (both + 2))
    low, high = interval_of_marked([(first, second, both)], seen)
    estimate, se = seen + unseen, sqrt(variance)
    return Estimate(
        estimate=estimate,
        low=min(low, estimate),
        high=None if high is None else max(high, estimate),
        se=se,
        method="two independent observers, Chapman's form, likelihood-ratio interval",
        assumptions=(
            "Each observer counted without knowing what the other saw.",
            "It is known for each animal whether both saw it.",
            "All animals are equally easy to see for one observer; none came or went meanwhile.",
        ),
        warnings=(
            HIDING,
            *few_recaptures(both),
            *(_NOTHING_NEW if unseen == 0 else ()),
            *(NO_LIMIT if high is None else ()),
            *shaky(estimate, se),
        ),
    )


_NOTHING_NEW = ("One of the two saw nothing that the other had missed: the estimate is what was seen.",)
_ADDS_NOTHING = ("One of the two added nothing: the estimate is what was seen.",)


def swapped_detection(first_leads: int, second_adds: int, second_leads: int, first_adds: int) -> Detection:
    """Chances of detection from dependent counts with swapped roles (Nichols et al. 2000, Auk 117:393-408,
    formulae from memory); `second_leads` and `first_leads` above zero."""
    led, added = first_leads * second_leads, first_adds * second_adds
    p1 = (led - added) / (led + second_leads * second_adds)
    p2 = (led - added) / (led + first_leads * first_adds)
    either = 1 - added / led
    seen = first_leads + second_adds + second_leads + first_adds
    return Detection(first=p1, second=p2, either=either, animals=seen / either)


def two_observers_swapped(
    first_leads: int, second_adds: int, second_leads: int = 0, first_adds: int = 0
) -> Estimate:
    """Dependent observers: one leads and counts aloud, the other adds what the leader missed; then they swap.

    The first two numbers are of the part where the first leads, the other two of another part (other
    tanks, other squares) where the second leads. The estimate is for both parts together. Variance by the
    delta method on the two ratios of added to led (own derivation, as Nichols et al. 2000). Interval: the
    same on the logarithm of the unseen, with half an animal added to each count, as Sadinle 2009 (Commun.
    Stat. Simul. Comput. 38:1909-1924, from memory) does for two independent looks: without it the interval
    has no width when nothing was added.
    """
    numbers = (first_leads, second_adds, second_leads, first_adds)
    need_none_below_zero("the four counts", numbers)
    need(
        first_leads > 0 and second_leads > 0,
        "The observers did not swap roles, or a leader saw nothing: with one person always leading, the "
        "chance of being seen cannot be told from these counts. Let the second lead on half of the places.",
    )
    need(
        first_adds * second_adds < first_leads * second_leads,
        "The second look added as much as the leaders had seen: from such counts no chance of being seen "
        "can be computed. Count again.",
    )
    chance = swapped_detection(*numbers)
    seen = sum(numbers)
    unseen = chance.animals - seen
    variance = unseen / chance.either
    if unseen > 0:
        variance += (chance.animals * (1 - chance.either) / chance.either) ** 2 * sum(
            1 / number for number in numbers
        )
    low, high = _swapped_interval(numbers)
    se = sqrt(variance)
    return Estimate(
        estimate=chance.animals,
        low=min(low, chance.animals),
        high=None if high is None else max(high, chance.animals),
        se=se,
        method="two dependent observers with swapped roles (Nichols et al. 2000), log-normal interval on the "
        "unseen",
        assumptions=(
            "Each led on a part of the places; the two parts are equally easy to see into.",
            "An observer sees as well when adding as when leading.",
            "All animals are equally easy to see for one observer; none came or went meanwhile.",
        ),
        warnings=(
            HIDING,
            *(_ADDS_NOTHING if unseen == 0 else ()),
            *(NO_LIMIT if high is None else ()),
            *shaky(chance.animals, se),
        ),
    )


def _swapped_interval(numbers: Sequence[int]) -> tuple[float, float | None]:
    """Log-normal on the unseen, each count half an animal higher; no upper end where nothing limits it."""
    first_leads, second_adds, second_leads, first_adds = (number + 0.5 for number in numbers)
    led, added = first_leads * second_leads, first_adds * second_adds
    seen, missed = sum(numbers), added / led
    if missed >= 1:
        return seen, None
    unseen = seen * missed / (1 - missed)
    spread = sum(1 / (number + 0.5) for number in numbers) / (1 - missed) ** 2
    relative_error = sqrt(1 / (unseen * (1 - missed)) + spread)
    if Z * relative_error > log(FAR):
        return seen, None
    low, high = interval_above_seen(seen - 0.5, unseen, relative_error)
    return max(seen, low), high
