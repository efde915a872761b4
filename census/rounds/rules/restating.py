"""When a late entry asks for a closed period to be restated."""

from collections.abc import Iterable
from dataclasses import dataclass

from .settings import DEFAULTS, CensusSettings


@dataclass(frozen=True, slots=True)
class LateFigure:
    """All that was entered late about one taxon in one unit: ``n`` animals, pluses and minuses never netted.

    ``class_a``: how many of them are class A; ``closing``: what the period closed with; ``events``: the
    numbers of the late events.
    """

    name: str
    unit: str
    n: int
    class_a: int
    closing: int
    events: tuple[int, ...] = ()


def asks_to_restate(figure: LateFigure, settings: CensusSettings = DEFAULTS) -> str:
    """Why this is at or above the limit; empty when it is below and stays "late from earlier period".

    The limit: so many animals of class A; or so many animals *and* so many per cent of the closing
    number. What closed with none is wholly changed by any animal.
    """
    if figure.class_a >= settings.restatement_class_a:
        return f"{figure.class_a} of class A"
    enough = figure.n >= settings.restatement_animals
    # In whole numbers: n / closing >= percent / 100.
    share = figure.n * 100 >= settings.restatement_percent * max(figure.closing, 0)
    if enough and share:
        return f"{figure.n} of a closing number of {figure.closing}"
    return ""


def above_limit(
    figures: Iterable[LateFigure], settings: CensusSettings = DEFAULTS
) -> list[tuple[LateFigure, str]]:
    """The figures that ask to restate, each with its reason."""
    asked = ((figure, asks_to_restate(figure, settings)) for figure in figures)
    return [(figure, why) for figure, why in asked if why]
