"""Kept papers: who may open which.

A paper is opened by whoever may open the page that shows it, and by nobody else: its address is the hash of
what it holds, which stands in lists of the whole book and tells nothing of rights. The book does not know
what the papers are. Rooms register, when Django is ready, what they show to whom, and what is not for
somebody wherever it is shown (a return with the exact places of rare animals)::

    withheld.show(papers_of_permits)
    withheld.ask(places_of_returns)

What tells numbers of a tank is not shown to who counts it: each room says so itself.
"""

from collections.abc import Callable, Collection

from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .models import Document

Withholds = Callable[[Document, Collection[Role]], str]
Shows = Callable[[Document, Person, Collection[Role]], bool]

NOWHERE = "This paper is opened on the page where it belongs, and you may not open such a page now."

_ASKED: list[Withholds] = []
_SHOWN: list[Shows] = []


def ask(withholds: Withholds) -> None:
    """Registers ``withholds``: it answers why a paper is not for these roles, "" when it is."""
    if withholds not in _ASKED:
        _ASKED.append(withholds)


def show(shows: Shows) -> None:
    """Registers ``shows``: it answers whether the room shows the paper to this person now."""
    if shows not in _SHOWN:
        _SHOWN.append(shows)


def why_withheld(document: Document, roles: Collection[Role]) -> str:
    """Why a person with these roles may not open the paper; "" when nothing stands against it."""
    return next((why for withholds in _ASKED if (why := withholds(document, roles))), "")


def why_closed(document: Document, person: Person, roles: Collection[Role]) -> str:
    """Why the person may not have the paper by its address now; "" when a page shows it to them."""
    if why := why_withheld(document, roles):
        return why
    return "" if any(shows(document, person, roles) for shows in _SHOWN) else NOWHERE
