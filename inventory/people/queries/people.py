"""Everybody who signs in, for who looks after them."""

from dataclasses import dataclass
from datetime import date, datetime

from allauth.mfa.models import Authenticator
from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth.models import User

from ..models import Person
from ..rules.roles import Role
from .signed_in import terms_in_force


@dataclass(frozen=True, slots=True)
class SignInState:
    """What is told of a sign-in; never a secret. ``roles`` are those of today, an inspection among them."""

    person: Person
    roles: tuple[Role, ...]
    second: bool
    needs_second: bool
    locked: bool
    left: bool


def everybody(*, today: date, locked_since: datetime) -> list[SignInState]:
    """Everybody with a sign-in, by name; ``locked_since`` is the machine's present. Five queries."""
    people = list(Person.objects.filter(user__isnull=False).select_related("user").order_by("name"))
    groups: dict[int, set[str]] = {}
    for user, name in User.groups.through.objects.values_list("user_id", "group__name"):
        groups.setdefault(user, set()).add(name)
    for user, role in terms_in_force(today).values_list("person__user_id", "role"):
        groups.setdefault(user, set()).add(role)
    kinds = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)
    second = set(Authenticator.objects.filter(type__in=kinds).values_list("user_id", flat=True))
    locked = set(
        AccessAttempt.objects.filter(
            failures_since_start__gte=settings.AXES_FAILURE_LIMIT,
            attempt_time__gt=locked_since - settings.AXES_COOLOFF_TIME,
        ).values_list("username", flat=True)
    )
    return [
        SignInState(
            person=person,
            roles=(roles := tuple(r for r in Role if r.value in groups.get(person.user_id or 0, ()))),
            second=person.user_id in second,
            needs_second=not set(roles).isdisjoint(settings.SECOND_FACTOR_ROLES),
            locked=person.user is not None and person.user.get_username() in locked,
            left=person.left_on is not None and person.left_on <= today,
        )
        for person in people
    ]
