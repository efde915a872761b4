"""The causes of a difference, how likely each is before anything is known of a line, and what it costs.

One table, for a house without a history of its own. Every figure is judgement of how a quarter's
differences divide (*common practice, no source*): what counts is their order and rough size, for
evidence weighs more, and with each settled census the house's own figures take their place
(:class:`History`).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Cause(StrEnum):
    BELOW_ZERO = "book below zero"
    MINIMUM = "minimum count"
    MISCOUNT = "count again"
    TYPING = "typing"
    UNIT = "units mixed up"
    ESTIMATE = "error of the estimate"
    DRIFT = "same side again"
    DOUBLE = "entered twice"
    EDITED = "changed without a reason"
    JOINED = "passed between joined tanks"
    MOVE = "move never entered"
    ELSEWHERE = "in a place not counted"
    LOOK_ALIKE = "look-alike"
    OTHER_NAME = "written in under another name"
    SWAPPED = "taken for each other"
    SEX_CHANGE = "sex change"
    DIVIDED = "divides"
    BORN = "brood or young"
    SETTLED = "settled from sea water"
    INTRODUCED = "introduced species"
    CAME_WITH = "came with something"
    LATE_DEATH = "death not entered yet"
    LETTER = "told by letter"
    NOT_SEEN = "known animals not seen"
    EATEN = "eaten (suspected)"
    LOSS = "unexplained loss"
    GAIN = "unexplained gain"
    # These explain nothing more: they are in the book already.
    LATE = "entered since the count"
    CROSSED = "moved between counts"

    @property
    def is_rest(self) -> bool:
        """True for what is left when nothing explains it; it is always possible."""
        return self in (Cause.LOSS, Cause.GAIN)


@dataclass(frozen=True, slots=True)
class Prior:
    """``of_1000``: of a thousand lines on which the cause is possible and differs, on how many it is at
    work. ``mean``: animals, where it is at work; the numbers fall off geometrically."""

    of_1000: float
    mean: float
    why: str


DEFAULTS: Mapping[Cause, Prior] = {
    Cause.BELOW_ZERO: Prior(900, 20, "a book below zero is wrong in itself: something came in unentered"),
    Cause.MINIMUM: Prior(900, 20, '"at least" says that the rest was not seen, not that it is gone'),
    Cause.MISCOUNT: Prior(250, 3, "one count in four to eight is not repeated by the next person"),
    Cause.TYPING: Prior(400, 20, "only where digits that change places bring the count to the book"),
    Cause.UNIT: Prior(600, 20, "only where another unit's number fits, or parts of colonies are likely"),
    Cause.DRIFT: Prior(
        500, 20, "three counts on one side are seldom chance: one in four if the book is right"
    ),
    Cause.DOUBLE: Prior(850, 3, "only where two like entries lie within minutes of each other"),
    Cause.EDITED: Prior(500, 5, "only where an entry has neither reason nor approval"),
    Cause.JOINED: Prior(900, 10, "animals pass between joined tanks as they like"),
    Cause.MOVE: Prior(150, 5, "of a kind kept in several places; shared by all ways that it can have gone"),
    Cause.ELSEWHERE: Prior(20, 3, "as a move, into a place that nobody has counted yet"),
    Cause.LOOK_ALIKE: Prior(300, 3, "only within a set of look-alikes in one place"),
    Cause.OTHER_NAME: Prior(600, 2, "only where one of the same genus is written in beside the line"),
    Cause.SWAPPED: Prior(700, 1, "the number is right and a known animal is not there"),
    Cause.SEX_CHANGE: Prior(600, 1, "only for kinds that can, where the total agrees"),
    Cause.DIVIDED: Prior(600, 12, "only for kinds that divide"),
    Cause.BORN: Prior(120, 8, "only for kinds that were born or hatched here before"),
    Cause.SETTLED: Prior(
        120, 8, "only in raw sea water, for kinds that settled here before or are written in"
    ),
    Cause.INTRODUCED: Prior(950, 3, "only where a list of introduced animals names it"),
    Cause.CAME_WITH: Prior(60, 2, "hitch-hikers on rock, kelp and other animals"),
    Cause.LATE_DEATH: Prior(40, 2, "four deaths in a hundred are entered more than three days late"),
    Cause.LETTER: Prior(950, 1, "the keeper of a loan says so in a letter"),
    Cause.NOT_SEEN: Prior(500, 1, "most animals not seen once are seen again"),
    Cause.EATEN: Prior(110, 4, "only with hunters in the tank, and no body"),
    Cause.LOSS: Prior(50, 2, "what is left when nothing speaks for another cause"),
    Cause.GAIN: Prior(20, 2, "animals seldom appear; most gains are a record that is wrong"),
}

# A house's own lines weigh as much as the table after so many of them.
WEIGHT_OF_TABLE = 100
NAT = 1000


@dataclass(frozen=True, slots=True)
class History:
    """What the house's earlier censuses were settled as.

    ``lines``: lines settled in them; ``accepted``: on how many each cause was accepted. ``late_deaths``
    and ``late_moves``: share of such events that were entered late, ``None`` where there are too few.
    """

    lines: int = 0
    accepted: Mapping[Cause, int] = field(default_factory=dict)
    late_deaths: float | None = None
    late_moves: float | None = None

    def of_1000(self, cause: Cause) -> float:
        """The table's figure, moved towards the house's own by the number of lines behind it."""
        prior = DEFAULTS[cause].of_1000
        if cause is Cause.LATE_DEATH and self.late_deaths is not None:
            prior *= _bounded(self.late_deaths / 0.04)
        if cause is Cause.MOVE and self.late_moves is not None:
            prior *= _bounded(self.late_moves / 0.02)
        if not self.lines or cause in _ONLY_WHERE:
            return min(prior, 990)
        own = 1000 * self.accepted.get(cause, 0) / self.lines
        weight = WEIGHT_OF_TABLE / (WEIGHT_OF_TABLE + self.lines)
        return min(max(weight * prior + (1 - weight) * own, 1), 990)


# These have a figure for the lines on which their evidence stands, which counts of all lines do not tell.
_ONLY_WHERE = frozenset(
    cause for cause, prior in DEFAULTS.items() if "only" in prior.why or prior.of_1000 >= 500
)


def _bounded(ratio: float) -> float:
    """A house's rate against the one that the table rests on, at most half or double."""
    return min(max(ratio, 0.5), 2.0)


def cost_of(of_1000: float) -> int:
    """Minus log of a share, in thousandths of a nat."""
    return max(round(-NAT * math.log(min(max(of_1000, 1e-3), 1000) / 1000)), 0)


def cost_of_size(mean: float) -> tuple[int, int]:
    """(fixed, each): minus log of a geometric number of animals 1, 2, 3 ... with this mean."""
    if mean <= 1:
        return 0, round(NAT * math.log(100))
    each = -math.log(1 - 1 / mean)
    return max(round(NAT * (math.log(mean) - each)), 0), round(NAT * each)


def in_words(regret: int) -> str:
    """How much likelier one set of causes is than another that costs ``regret`` more: "... than that"."""
    times = math.exp(min(regret / NAT, 20))
    if times < 1.5:
        return "about as likely as"
    if times < 4:
        return "somewhat likelier than"
    if times < 15:
        return "clearly likelier than"
    return "much likelier than"
