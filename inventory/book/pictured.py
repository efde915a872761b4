"""The picture that goes with a taxon or a lot, of which the book itself knows nothing.

A room above registers, when Django is ready, a function that answers it::

    pictured.ask(picture_of)

in a constant number of queries; None: there is none.
"""

from collections.abc import Callable
from dataclasses import dataclass

from inventory.names.models import Taxon

from .models import Lot


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture as a page shows it: ``alt`` says what is on it, ``credit`` who took it; sides in px."""

    url: str
    width: int
    height: int
    alt: str
    credit: str


Shows = Callable[[Taxon, Lot | None], Shown | None]

_ASKED: list[Shows] = []


def ask(shows: Shows) -> None:
    """Registers ``shows``."""
    if shows not in _ASKED:
        _ASKED.append(shows)


def picture_of(taxon: Taxon, lot: Lot | None = None) -> Shown | None:
    """The picture of the lot, else of its taxon."""
    return next((shown for shows in _ASKED if (shown := shows(taxon, lot))), None)
