"""Which late entries ask for more than to be looked at.

The book knows that an event is dated in a closed period, and nothing of censuses and returns: whether it
reaches the limit at which the period is restated, another room says. A room above registers a function::

    late.ask(limits_of_the_census)
"""

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo


@dataclass(frozen=True, slots=True)
class Reached:
    """Why an event asks for its period to be restated, without a number of animals, for who reads it may be
    counting them; and the page that tells the numbers."""

    words: str
    page: str


Weighs = Callable[[tzinfo], Mapping[int, Sequence[Reached]]]

_ASKED: list[Weighs] = []


def ask(weighs: Weighs) -> None:
    """Registers ``weighs``: it answers, by event, what is reached."""
    if weighs not in _ASKED:
        _ASKED.append(weighs)


def reached(zone: tzinfo) -> dict[int, list[Reached]]:
    """What each late event reaches; events that reach nothing are not there."""
    found: dict[int, list[Reached]] = defaultdict(list)
    for weighs in _ASKED:
        for event, limits in weighs(zone).items():
            found[event].extend(limits)
    return dict(found)
