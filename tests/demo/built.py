"""The demo house, built once in a process into a database beside that of the tests.

To build it takes longer than to look at it, and a dozen modules look at it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from django.utils import timezone

from census.demo.actions.build import build_house
from census.demo.actions.people import SignIn
from census.demo.rules.history import History

from .. import factories
from ..migrated import looking_at, second_database


@dataclass(frozen=True, slots=True)
class Built:
    """Where it is, and what the build answered."""

    database: str
    history: History
    sign_ins: list[SignIn]


@contextmanager
def built() -> Iterator[Built]:
    """The demo house in its half counted state. Who changes it takes that back again."""
    with second_database("demo") as database:
        with looking_at(database):
            history, sign_ins = build_house(now=factories.NOW, zone=timezone.get_current_timezone())
        yield Built(database, history, sign_ins)
