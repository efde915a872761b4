"""The questions that can be asked of populations: one list for pages and command."""

from collections.abc import Callable
from dataclasses import dataclass

from ..rules.answer import Answer
from ..rules.asked import Asked
from .heading import expected, stages, watch
from .losses import losses, moves
from .rates import growth, rates
from .setting import Setting
from .survival import soon_after, survival
from .trend import compare, trend


@dataclass(frozen=True, slots=True)
class Method:
    """``words`` name the page; ``about`` says what it answers; ``fields`` are asked on this page alone."""

    name: str
    words: str
    about: str
    answer: Callable[[Asked, Setting], Answer]
    fields: tuple[str, ...] = ()


METHODS = {
    one.name: one
    for one in (
        Method("trend", "Trend", "what made the change, two years with counts, flows by quarter", trend),
        Method(
            "compare",
            "Side by side",
            "many taxa, or the places of one: small charts, opening and closing",
            compare,
            ("scale",),
        ),
        Method(
            "losses", "Losses by day and tank", "a calendar of deaths, and where animals go missing", losses
        ),
        Method("moves", "Moves", "from which place to which", moves),
        Method(
            "survival", "Survival from arrival", "of those that can be followed, also by quarter", survival
        ),
        Method("soon-after", "Deaths soon after arrival", "within 30 days, cohort by cohort", soon_after),
        Method(
            "rates",
            "Death rates",
            "per 100 animal-days, and tanks and periods compared",
            rates,
            ("against",),
        ),
        Method("growth", "Growth and sexes", "times in a year; females among those of known sex", growth),
        Method("stages", "Stages of life", "life table and projection of what is followed by stage", stages),
        Method("watch", "Watch on deaths", "alarms, their evidence, and how many are false", watch),
        Method("expected", "The next quarter", "the range to expect, and how earlier ranges fared", expected),
    )
}
