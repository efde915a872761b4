"""How near a name is to the animals of the house: in this tank, in the house, in the region, anywhere.

Nearness only orders what a person is offered. It never takes a name by itself: that a house holds
one dogfish does not make the next "dogfish" the same animal.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from .verdicts import Choice, Verdict, VerdictKind


class Nearness(IntEnum):
    """The nearest first."""

    TANK = 0
    HOUSE = 1
    REGION = 2
    ANYWHERE = 3

    @property
    def words(self) -> str:
        """For people; blank where there is nothing to say."""
        return ("held in this tank", "held in the house", "known from this region", "")[self]


@dataclass(frozen=True, slots=True)
class Nearby:
    """Accepted names that are held in the tank and in the house, and that belong to the region."""

    tank: Collection[str] = frozenset()
    house: Collection[str] = frozenset()
    region: Collection[str] = frozenset()

    def of(self, name: str) -> Nearness:
        """How near a name is."""
        for nearness, names in (
            (Nearness.TANK, self.tank),
            (Nearness.HOUSE, self.house),
            (Nearness.REGION, self.region),
        ):
            if name in names:
                return nearness
        return Nearness.ANYWHERE


def rank(choices: Sequence[Choice], nearby: Nearby) -> list[Choice]:
    """The nearest first; those equally near stay in the order that the matcher gave them."""
    return sorted(choices, key=lambda choice: nearby.of(choice.name))


def ranked(verdict: Verdict, nearby: Nearby, languages: Mapping[tuple[str, str], str]) -> Verdict:
    """The verdict with its choices ranked, each saying how near it is and in which language it is called so.

    ``languages`` are in words, by name and authorship. The order of a misapplied name is that of
    its caution: what the house holds under the wrong name must not go before the right one.
    """
    order = verdict.choices if verdict.verdict is VerdictKind.MISAPPLIED else rank(verdict.choices, nearby)
    return replace(verdict, choices=tuple(_noted(choice, nearby, languages) for choice in order))


def _noted(choice: Choice, nearby: Nearby, languages: Mapping[tuple[str, str], str]) -> Choice:
    called = languages.get((choice.name, choice.authorship), "")
    notes = (nearby.of(choice.name).words, f"so called in {called}" if called else "", choice.note)
    return replace(choice, note=", ".join(note for note in notes if note))
