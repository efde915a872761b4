"""Numbers that a person may not see now, for a known number pulls the count to itself.

Who counts a tank sees its list but not its numbers until the sheet is handed in (blind count:
stock-taking practice; GAO-02-447G). The book does not know of sheets: a room above registers, when
Django is ready, a function that says which places are hidden from a person::

    blind.ask(places_being_counted_by)
"""

from collections.abc import Callable, Collection

from inventory.doors.once import once
from inventory.people.models import Person

Hides = Callable[[Person], Collection[int]]

_ASKED: list[Hides] = []


def ask(hides: Hides) -> None:
    """Registers ``hides``: it answers the ids of the places whose numbers the person may not see."""
    if hides not in _ASKED:
        _ASKED.append(hides)


@once
def hidden_from(person: Person) -> frozenset[int]:
    """Ids of the places whose numbers ``person`` may not see now."""
    return frozenset(place for hides in _ASKED for place in hides(person))


HidesFromAnybody = Callable[[], Collection[int]]

_ASKED_OF_ALL: list[HidesFromAnybody] = []


def ask_of_all(hides: HidesFromAnybody) -> None:
    """Registers ``hides``: it answers the ids of the places that anybody counts now."""
    if hides not in _ASKED_OF_ALL:
        _ASKED_OF_ALL.append(hides)


def hidden_from_anybody() -> frozenset[int]:
    """Ids of the places whose numbers somebody may not see now: for what many people hold, as a device."""
    return frozenset(place for hides in _ASKED_OF_ALL for place in hides())
