"""What a room asks people to look at today.

A room that has such things carries a module ``attention`` with one function::

    def items(person: Person, *, now: datetime) -> list[Attention]

in a constant number of queries, and is named in ``inventory/site/today.py``. The site knows the
rooms by name only, so that a room above (the census) can speak without being imported from below.
"""

from dataclasses import dataclass

from .rules.roles import Role


@dataclass(frozen=True, slots=True)
class Line:
    """One thing to look at: its words, the page that settles it, and whose it is."""

    text: str
    url: str
    owner: str = ""


@dataclass(frozen=True, slots=True)
class Attention:
    """One heading of today's page. Nothing to do is no item at all.

    ``roles`` are those whom it concerns first. ``url`` is the page with the whole list;
    ``lines`` are at most the first ten; ``total`` is how many there are.
    """

    heading: str
    total: int
    url: str
    roles: frozenset[Role]
    lines: tuple[Line, ...] = ()
