"""What a room asks people to look at today.

A room that has such things carries a module ``attention`` with one function::

    def items(person: Person, *, now: datetime) -> list[Attention]

in a constant number of queries, and is named in ``inventory/site/today.py``. The site knows the
rooms by name only, so that a room above (the census) can speak without being imported from below.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from .rules.roles import Role

SHOWN = 10


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to look at: its words, the page that settles it, whose it is, and which places it is about.

    ``places`` are ids; none: it is about no place in particular.
    """

    text: str
    url: str
    owner: str = ""
    places: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Attention:
    """One heading of today's page. Nothing to do is no item at all.

    ``roles`` are those whom it concerns first. ``url`` is the page with the whole list;
    ``total`` is how many there are. ``lines`` are all that are about places, so that a keeper finds
    those of the own tanks among them; of others a few will do, for a page shows the first
    :data:`SHOWN` (``shown``) and tells of the rest.
    """

    heading: str
    total: int
    url: str
    roles: frozenset[Role]
    lines: tuple[Line, ...] = ()

    @property
    def shown(self) -> tuple[Line, ...]:
        """The lines that a page shows."""
        return self.lines[:SHOWN]


def about_places(items: Iterable[Attention], places: Collection[int]) -> list[Attention]:
    """What of ``items`` is about ``places``, and what is the person's own (it names no role), whole.

    A heading of which nothing is left is left out.
    """
    found = []
    for item in items:
        if not item.roles:
            found.append(item)
            continue
        lines = tuple(line for line in item.lines if not line.places.isdisjoint(places))
        if lines:
            found.append(replace(item, lines=lines, total=len(lines)))
    return found
