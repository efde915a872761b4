"""Who is at the other end of a request, and what they may do."""

from datetime import date

from django.contrib.auth.models import AnonymousUser, User

from ..models import House, Person
from ..rules.roles import Role

AnyUser = User | AnonymousUser


class NotAPersonError(Exception):
    """The sign-in belongs to nobody in the house's list of people."""


def person_of(user: AnyUser) -> Person:
    """The person who signs in as ``user``; raises :class:`NotAPersonError`.

    Read once for each user object, hence once for each request.
    """
    found: Person | None = getattr(user, "_person_of", None)
    if found is None:
        found = Person.objects.filter(user_id=user.pk).first() if user.is_authenticated else None
        if found is None:
            raise NotAPersonError(str(user))
        user._person_of = found  # type: ignore[union-attr]
    return found


def roles_of(user: AnyUser) -> frozenset[Role]:
    """The roles of ``user``; groups that are no roles are left out. Read once for each request."""
    found: frozenset[Role] | None = getattr(user, "_roles_of", None)
    if found is None:
        names = set(user.groups.values_list("name", flat=True)) if user.is_authenticated else set()
        found = frozenset(role for role in Role if role.value in names)
        user._roles_of = found  # type: ignore[union-attr]
    return found


def has_left(person: Person, *, today: date) -> bool:
    """True from the day on which the person left: the sign-in is closed, the history stays."""
    return person.left_on is not None and person.left_on <= today


def the_house() -> House | None:
    """The one institution that this database serves; none before it is set up."""
    return House.objects.first()
