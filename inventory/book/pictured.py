"""The pictures that go with a taxon, a lot or an event, of which the book itself knows nothing.

A room above registers, when Django is ready, functions that answer them::

    pictured.ask(picture_of)
    pictured.ask_of_events(of_events)

in a constant number of queries; None, or nothing of an event: there is none.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass

from inventory.names.models import Taxon

from .models import Lot


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture as a page shows it: ``alt`` says what is on it, ``credit`` who took it; sides in px.

    ``sha256`` is of the kept file, for who prints it.
    """

    url: str
    width: int
    height: int
    alt: str
    credit: str
    sha256: str


@dataclass(frozen=True, slots=True)
class Photograph:
    """One that came with an entry: ``small_url`` with its sides in px, ``url`` is the whole; ``taken``
    says by whom and when."""

    url: str
    small_url: str
    width: int
    height: int
    alt: str
    taken: str


Shows = Callable[[Taxon, Lot | None], Shown | None]

# Numbers of events, and ids of the places that are hidden from the reader.
ShowsEvents = Callable[[Collection[int], Collection[int]], Mapping[int, Sequence[Photograph]]]

_ASKED: list[Shows] = []
_ASKED_OF_EVENTS: list[ShowsEvents] = []


def ask(shows: Shows) -> None:
    """Registers ``shows``."""
    if shows not in _ASKED:
        _ASKED.append(shows)


def picture_of(taxon: Taxon, lot: Lot | None = None) -> Shown | None:
    """The picture of the lot, else of its taxon."""
    return next((shown for shows in _ASKED if (shown := shows(taxon, lot))), None)


def ask_of_events(shows: ShowsEvents) -> None:
    """Registers ``shows``."""
    if shows not in _ASKED_OF_EVENTS:
        _ASKED_OF_EVENTS.append(shows)


def of_events(events: Collection[int], *, hidden: Collection[int]) -> dict[int, list[Photograph]]:
    """The photographs of each event that has any, but none that shows what is hidden from the reader."""
    found: dict[int, list[Photograph]] = {}
    for shows in _ASKED_OF_EVENTS:
        for event, photographs in shows(events, hidden).items():
            found.setdefault(event, []).extend(photographs)
    return found
