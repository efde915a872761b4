"""Gives a role for some days and ends it. History stays."""

from datetime import date, datetime

from django.db import transaction

from ..models import Person, RoleTerm
from ..queries import roles_of
from ..rules.roles import Role, not_allowed

GRANTS = (Role.REGISTRAR, Role.ADMINISTRATOR)
# What is given for some days only; all other roles are set up with the person.
FOR_SOME_DAYS = (Role.INSPECTOR,)


class TermRefused(Exception):
    """What was asked cannot be; the message says what to do. Nothing was changed."""


@transaction.atomic
def grant_term(
    *, person: Person, role: Role, starts_on: date, ends_on: date, reason: str, by: Person, now: datetime
) -> RoleTerm:
    """``person`` has ``role`` from one day to another, both included. Raises :class:`TermRefused`."""
    _require(by)
    reason = " ".join(reason.split())
    if role not in FOR_SOME_DAYS:
        raise TermRefused(f"The role {role.words} is not given for some days; set it up with the person.")
    if person == by:
        raise TermRefused("Nobody gives a role to themselves: ask another registrar or administrator.")
    if person.user is None:
        raise TermRefused(f"{person.name} has no sign-in yet: add one first.")
    if ends_on < starts_on:
        raise TermRefused(f"The last day, {ends_on}, is before the first, {starts_on}.")
    if not reason:
        raise TermRefused("Say why, such as the authority and its letter.")
    return RoleTerm.objects.create(
        person=person,
        role=role.value,
        starts_on=starts_on,
        ends_on=ends_on,
        reason=reason,
        granted_at=now,
        granted_by=by,
    )


@transaction.atomic
def end_term(term: RoleTerm, *, by: Person, now: datetime) -> None:
    """Ends it now; what was granted stays written. Raises :class:`TermRefused`."""
    _require(by)
    if not RoleTerm.objects.filter(pk=term.pk, ended_at=None).update(ended_at=now, ended_by=by):
        raise TermRefused("This was ended already.")


def _require(by: Person) -> None:
    roles = roles_of(by.user) if by.user is not None else frozenset[Role]()
    problem = not_allowed(by.name, roles, GRANTS, "give a role for some days")
    if problem:
        raise TermRefused(f"{problem}.")
