"""Every step of a census asks here who takes it: a command and a program are held to it like a page."""

from collections.abc import Collection

from inventory.people.models import Person
from inventory.people.rules.roles import Role, not_allowed

from ..queries.approvers import roles_held
from .refused import CensusRefused


def require(by: Person, needed: Collection[Role], what: str) -> None:
    """Raises :class:`CensusRefused` unless ``by`` has one of the roles; ``what``: "open a census"."""
    problem = not_allowed(by.name, roles_held(by), needed, what)
    if problem:
        raise CensusRefused(problem + ".")
