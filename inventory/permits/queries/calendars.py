"""Whose calendar a token opens."""

import hashlib
from datetime import date

from inventory.people.models import Person
from inventory.people.queries import has_left, roles_of

from ..models import CalendarAddress
from ..who import REMINDED


def hash_of(token: str) -> str:
    """SHA-256: a token of 256 random bits needs no slow hash."""
    return hashlib.sha256(token.encode()).hexdigest()


def address_of(person: Person) -> CalendarAddress | None:
    """The address in use, if there is one."""
    return CalendarAddress.objects.filter(person=person, revoked_at=None).first()


def person_with(token: str, *, today: date) -> Person | None:
    """Whose calendar it is; none when it was revoked, or the person has left or has no such role now."""
    found = (
        CalendarAddress.objects.select_related("person__user")
        .filter(token_hash=hash_of(token), revoked_at=None)
        .first()
    )
    if found is None or has_left(found.person, today=today):
        return None
    user = found.person.user
    if user is None or not user.is_active or roles_of(user).isdisjoint(REMINDED):
        return None
    return found.person
