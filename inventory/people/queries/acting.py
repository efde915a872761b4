"""Whether a person whom a command names may do what it does: the same roles as on a page."""

from collections.abc import Collection
from datetime import date

from ..models import Person
from ..rules.roles import Role, not_allowed
from .signed_in import has_left, roles_of


def why_not(name: str, needed: Collection[Role], *, what: str, today: date) -> str:
    """Why ``name`` may not do ``what`` ("load a workbook"); empty when they may.

    A name without a sign-in is the word of who sits at the machine: a new house has nobody yet.
    """
    person = Person.objects.select_related("user").filter(name=name).first()
    if person is None or person.user is None:
        return ""
    if has_left(person, today=today):
        return f"{name} left the house on {person.left_on} and enters nothing any more"
    return not_allowed(name, roles_of(person.user), needed, what)
