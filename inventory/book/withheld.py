"""Kept papers that not everybody may open.

Whoever is signed in may open a kept paper, but for those of which a room above says otherwise: a return
with the exact places of rare animals is for who keeps the permits. Such a room registers, when Django is
ready, a function that answers why a paper is not for somebody with these roles, "" when it is::

    withheld.ask(places_of_returns)
"""

from collections.abc import Callable, Collection

from inventory.people.rules.roles import Role

from .models import Document

Withholds = Callable[[Document, Collection[Role]], str]

_ASKED: list[Withholds] = []


def ask(withholds: Withholds) -> None:
    """Registers ``withholds``."""
    if withholds not in _ASKED:
        _ASKED.append(withholds)


def why_withheld(document: Document, roles: Collection[Role]) -> str:
    """Why a person with these roles may not open the paper; "" when nothing stands against it."""
    return next((why for withholds in _ASKED if (why := withholds(document, roles))), "")
