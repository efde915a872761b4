"""Gathers what the rooms ask people to look at; knows the rooms by name only.

A room joins by a module ``attention`` as :mod:`inventory.people.attention` says, and by its name
in ``OFFERED_BY``.
"""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime

from django.utils.module_loading import import_string

from inventory.doors.once import asking_once
from inventory.people.attention import Attention, about_places
from inventory.people.models import Person
from inventory.people.rules.roles import Role

OFFERED_BY = (
    "census.rounds.attention.items",
    "census.population.attention.items",
    "inventory.book.attention.items",
    "inventory.names.attention.items",
    "inventory.permits.attention.items",
    "inventory.tankside.attention.items",
    "inventory.tankside.day_list.items",
    "inventory.site.attention.items",
)
# Who reads everything and settles nothing: all of it concerns them alike.
READS_ALL = frozenset({Role.INSPECTOR})


@dataclass(frozen=True, slots=True)
class Today:
    """What needs attention: what concerns the person's roles, and what concerns others."""

    yours: list[Attention]
    others: list[Attention]


def gather(person: Person, roles: frozenset[Role], *, now: datetime) -> Today:
    """Asks every room. The number of queries is the sum of the rooms' own, whatever they find."""
    items = _asked(person, now)
    yours = [item for item in items if _concerns(item, roles)]
    return Today(yours, [item for item in items if not _concerns(item, roles)])


def of_tanks(person: Person, places: Collection[int], *, now: datetime) -> list[Attention]:
    """What is about ``places``, or the person's own; asks every room as :func:`gather` does."""
    return about_places(_asked(person, now), places)


def _asked(person: Person, now: datetime) -> list[Attention]:
    offers: list[Callable[..., list[Attention]]] = [import_string(name) for name in OFFERED_BY]
    with asking_once():
        return [item for offer in offers for item in offer(person, now=now)]


def _concerns(item: Attention, roles: frozenset[Role]) -> bool:
    return not item.roles or not item.roles.isdisjoint(roles) or not READS_ALL.isdisjoint(roles)
