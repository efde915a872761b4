"""Who is at the other end of a request, and what they may do."""

from datetime import date

from django.contrib.auth.models import AnonymousUser, User
from django.db.models import QuerySet
from django.utils import timezone

from inventory.doors import clock

from ..models import House, Person, RoleTerm
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
    """The roles of ``user`` today; groups that are no roles are left out. One query for each request.

    What a person may is asked by pages, commands, imports and the interface alike, and all ask here. A
    role held for some days counts on these days; who has left has none.
    """
    found: frozenset[Role] | None = getattr(user, "_roles_of", None)
    if found is None:
        names = set[str]()
        if isinstance(user, User):
            names = _names_of_roles(user, timezone.localdate(clock.now()))
        found = frozenset(role for role in Role if role.value in names)
        user._roles_of = found  # type: ignore[union-attr]
    return found


def _names_of_roles(user: User, today: date) -> set[str]:
    groups = User.groups.through.objects.filter(user_id=user.pk).exclude(
        user__person__left_on__isnull=False, user__person__left_on__lte=today
    )
    terms = terms_in_force(today).filter(person__user_id=user.pk)
    terms = terms.exclude(person__left_on__isnull=False, person__left_on__lte=today)
    of_groups = groups.values_list("group__name", flat=True)
    return set(of_groups.union(terms.order_by().values_list("role", flat=True)))


def terms_in_force(today: date) -> QuerySet[RoleTerm]:
    """Roles for some days that are held today."""
    return RoleTerm.objects.filter(starts_on__lte=today, ends_on__gte=today, ended_at=None)


def has_left(person: Person, *, today: date) -> bool:
    """True from the day on which the person left: the sign-in is closed, the history stays."""
    return person.left_on is not None and person.left_on <= today


def the_house() -> House | None:
    """The one institution that this database serves; none before it is set up."""
    return House.objects.first()
