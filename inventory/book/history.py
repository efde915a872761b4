"""Everything that was ever said about one lot, one place, one permit: what other rooms have to add.

The book tells its events, what was refused, its flags and keepers itself. It does not know of permits,
devices and censuses: a room above registers, when Django is ready, a function that tells its part::

    history.ask(counts_and_decisions)

in a constant number of queries, however much there is.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum


class About(StrEnum):
    """What a history may be of."""

    LOT = "lot"
    PLACE = "place"
    PERMIT = "permit"


@dataclass(frozen=True, slots=True)
class Subject:
    """``key``: accession number, code of a place or number of a permit; ``pk``: of the lot or the place."""

    kind: About
    key: str
    pk: int = 0


@dataclass(frozen=True, slots=True)
class Told:
    """One thing that was said.

    ``at`` is when it happened, ``entered_at`` when somebody entered it; ``happened`` as the writer stated it,
    blank: as ``at``. ``what`` is its kind in a word or two, ``words`` the rest. ``event``: the number of an
    event, of which the page tells the flows.
    """

    at: datetime
    entered_at: datetime
    what: str
    words: str = ""
    who: str = ""
    happened: str = ""
    why: str = ""
    url: str = ""
    event: int = 0
    refused: bool = False


Tells = Callable[[Subject], Iterable[Told]]

_ASKED: list[Tells] = []


def ask(tells: Tells) -> None:
    """Registers ``tells``."""
    if tells not in _ASKED:
        _ASKED.append(tells)


Shows = Callable[[Subject], str]

_SHOWN: dict[About, Shows] = {}


def show(kind: About, shows: Shows) -> None:
    """Registers who knows the address of the page of such a subject; empty when it has none."""
    _SHOWN[kind] = shows


def page_of(subject: Subject) -> str:
    """The address of its own page; empty where nobody says."""
    shows = _SHOWN.get(subject.kind)
    return shows(subject) if shows else ""


def told_by_others(subject: Subject) -> list[Told]:
    """What the rooms above say of ``subject``."""
    return [one for tells in _ASKED for one in tells(subject)]
