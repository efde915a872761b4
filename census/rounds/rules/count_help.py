"""Help for who counts what cannot be counted one by one: plain questions, and what is made of the answers.

Nothing here knows the book. The mathematics is that of :mod:`census.estimators`; a page shows it to who asks.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import ceil, floor

from census.estimators.rules.estimate import Estimate
from census.estimators.rules.methods import METHODS
from census.estimators.rules.written import values_of

LONGEST_METHOD = 120
"""Letters of a count's method, as the table of counts holds it."""


class NoUpperLimit(ValueError):
    """The answers set no upper limit: such a number is not written on a sheet."""


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that the counter is asked. ``several``: numbers one after the other."""

    name: str
    words: str
    several: bool = False
    help: str = ""


@dataclass(frozen=True, slots=True)
class CountHelp:
    """A way to count. ``method`` names the estimator; ``short`` begins what the count's method says."""

    method: str
    title: str
    when: str
    how: str
    short: str
    questions: tuple[Question, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What is written on the line: whole animals, the range widened to whole ones; and how it came about."""

    value: int
    low: int
    high: int
    method: str


_ONE_AFTER_THE_OTHER = "One after the other, with spaces or commas: 61 58 64"

HELPS: tuple[CountHelp, ...] = (
    CountHelp(
        "passes",
        "Several passes, or several pictures",
        "a shoal that does not stand still",
        "Count all of them three times or more, or count them on as many pictures. Do not correct a pass "
        "after the next one.",
        "passes or pictures",
        (Question("counts", "How many did you count each time?", True, _ONE_AFTER_THE_OTHER),),
    ),
    CountHelp(
        "two_observers",
        "Two of you, counting apart",
        "animals that one pair of eyes misses, and that can be told apart by where they sit",
        "Count at the same time without a word, each marking on a sketch where an animal is. Then lay the "
        "two sketches side by side.",
        "two observers",
        (
            Question("first", "How many did the first of you see?"),
            Question("second", "How many did the second of you see?"),
            Question("both", "How many did both of you see?", help="Those that stand on both sketches."),
        ),
    ),
    CountHelp(
        "two_observers_swapped",
        "One leads, the other adds; then you swap",
        "the same, where no sketch can be made",
        "On one half of the tank the first calls out what is there and the second adds what was missed; on "
        "the other half you swap.",
        "lead and add, swapped",
        (
            Question("first_leads", "How many did the first call out, on the half where the first led?"),
            Question("second_adds", "How many did the second add there?"),
            Question("second_leads", "How many did the second call out, on the half where the second led?"),
            Question("first_adds", "How many did the first add there?"),
        ),
    ),
    CountHelp(
        "chapman",
        "Some are marked, and looked for later",
        "many animals of which a part has tags, dye or marks that are known",
        "Let the marked ones mix with the others. Then look at as many as you can, each once, and say how "
        "many of those had a mark.",
        "mark and resight",
        (
            Question("marked", "How many had a mark before you looked?"),
            Question("caught", "How many did you look at, marked or not?"),
            Question("recaptured", "How many of those had a mark?"),
        ),
    ),
    CountHelp(
        "squares",
        "Sample squares",
        "small animals spread over sand, rock or glass",
        "Divide the ground into equal squares, draw ten or more by lot, and count what is in each. A square "
        "with none counts: write 0.",
        "sample squares",
        (
            Question(
                "counts", "How many were in each square that you drew?", True, "A 0 for a square with none."
            ),
            Question("total_squares", "How many squares has the whole ground?"),
        ),
    ),
    CountHelp(
        "removal",
        "Taken out in passes",
        "a tank that is drained or fished out: shrimps, crabs, fry",
        "Take out what you can in one pass, count and keep it apart. Do the same again with the same effort, "
        "three times or more.",
        "removal in passes",
        (Question("catches", "How many did you take out in each pass?", True, _ONE_AFTER_THE_OTHER),),
    ),
    CountHelp(
        "ratio",
        "Weigh or measure all, count a part",
        "fry, larvae, shrimps in a bucket",
        "Mix well. Take five portions or more of about the same weight or volume, weigh and count each; then "
        "weigh all together, the portions too.",
        "counted portions",
        (
            Question("counts", "How many were in each portion?", True, _ONE_AFTER_THE_OTHER),
            Question("weights", "What did each portion weigh or measure?", True, "In the same order."),
            Question("total_weight", "What did all together weigh or measure?", help="In the same unit."),
        ),
    ),
)
BY_METHOD: Mapping[str, CountHelp] = {help_.method: help_ for help_ in HELPS}


def estimated(help_: CountHelp, answers: Mapping[str, str]) -> Estimate:
    """The estimate from what was typed. Raises BadValue or CannotEstimate with a sentence for the counter."""
    words = [f"{name}={_typed(text)}" for name, text in answers.items()]
    method = METHODS[help_.method]
    return method.estimate(values_of(method, words))


def written(help_: CountHelp, answers: Mapping[str, str], estimate: Estimate) -> Answer:
    """What goes onto the line. Raises :class:`NoUpperLimit`."""
    if estimate.high is None:
        raise NoUpperLimit(
            "These numbers set no upper limit, so nothing is written on the sheet. Count on, or write "
            '"at least" with what you saw.'
        )
    told = "; ".join(_typed(text).replace(",", " ") for text in answers.values())
    method = f"{help_.short}: {told}"
    return Answer(
        value=floor(estimate.estimate + 0.5),
        low=min(floor(estimate.low), floor(estimate.estimate + 0.5)),
        high=max(ceil(estimate.high), floor(estimate.estimate + 0.5)),
        method=method if len(method) <= LONGEST_METHOD else method[: LONGEST_METHOD - 3] + "...",
    )


def _typed(text: str) -> str:
    """Numbers with commas between, however they were set apart."""
    return ",".join(re.split(r"[\s,;]+", text.strip()))
