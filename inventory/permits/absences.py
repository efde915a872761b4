"""Animals that other rooms have found absent, before the book knows of it.

A permit's days for a notice run from when an animal was found missing, not from when somebody settles
the count. The permits do not know of censuses: a room above registers, when Django is ready, a function
that says which absences stand open::

    absences.ask(absences_of_a_census)
"""

from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Absence:
    """``n`` animals of the first of ``lots`` not found in a place at a moment; ``page`` settles it."""

    lots: tuple[int, ...]
    place: int
    n: int
    found_at: datetime
    page: str


Finds = Callable[[Collection[int]], Iterable[Absence]]

_ASKED: list[Finds] = []


def ask(finds: Finds) -> None:
    """Registers ``finds``: it answers the open absences among the animals of these taxa, by their ids."""
    if finds not in _ASKED:
        _ASKED.append(finds)


def open_absences(taxa: Collection[int]) -> list[Absence]:
    """All open absences among these taxa."""
    return [absence for finds in _ASKED for absence in finds(taxa)] if taxa else []
