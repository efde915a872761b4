"""What a statement would change, before anybody approves it."""

from dataclasses import dataclass

from inventory.book.rules.kinds import ARRIVALS, DEPARTURES

from .settling import Settling, change_of_book, how_many
from .words import How


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure of the book, as it is and as it would be."""

    what: str
    old: int
    new: int


def change_of_house(settling: Settling) -> int:
    """By how many the house's animals of the line's kind change; moves, searches and regroups change none."""
    if settling.how in (How.ADJUSTMENT, How.CHANGE_OF_NAME):
        return change_of_book(settling)
    if settling.how is not How.LATE_EVENT:
        return 0
    if settling.kind in ARRIVALS:
        return how_many(settling)
    return -how_many(settling) if settling.kind in DEPARTURES else 0


def in_words(settling: Settling) -> str:
    """ "adjustment, unexplained loss" or "late event, died"."""
    kind = settling.kind.value.replace("_", " ") if settling.kind else ""
    return ", ".join(part for part in (settling.how.words, kind, settling.reason) if part)
