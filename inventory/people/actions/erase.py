"""Takes a person's name out of the house's books, and leaves what they did where it is."""

from datetime import date, datetime

from django.apps import apps
from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import ForeignKey

from ..models import CodeTries, Erasure, House, Person, PersonCode
from ..queries.signed_in import has_left
from ..rules.roles import Role

MAY_ERASE = (Role.REGISTRAR, Role.ADMINISTRATOR)
_LONGEST_REASON = 300


class ErasureRefused(Exception):
    """Why the person is not erased, and what to do first. Nothing was changed."""


@transaction.atomic
def erase_person(*, person: Person, by: Person, reason: str, now: datetime, today: date) -> Erasure:
    """Puts a pseudonym in place of name and sign-in; initials, e-mail, codes, sessions and factors go.

    The hashes of the book's chain cover the numbers of people and never their names, so the chain stays
    whole. Names that others wrote into notes, permits or papers stay: they are covered by hashes, or are what
    an authority was told. Raises :class:`ErasureRefused`.
    """
    person = Person.objects.select_for_update().get(pk=person.pk)
    _refuse(person, by, reason, today)
    if person.user_id is not None:
        _end_sign_in(get_user_model().objects.get(pk=person.user_id))
    PersonCode.objects.filter(person=person).delete()
    CodeTries.objects.filter(person=person).delete()
    person.name, person.initials = f"Former person {person.pk}", ""
    person.save(update_fields=["name", "initials"])
    return Erasure.objects.create(person=person, at=now, by=by, reason=reason.strip())


def _refuse(person: Person, by: Person, reason: str, today: date) -> None:
    roles = set(by.user.groups.values_list("name", flat=True)) if by.user else set()
    if by.pk == person.pk:
        raise ErasureRefused("Nobody erases themselves: another person does it.")
    if roles.isdisjoint(role.value for role in MAY_ERASE) or has_left(by, today=today):
        raise ErasureRefused(f"{by.name} may not erase anybody: it takes a registrar or an administrator.")
    if not reason.strip() or len(reason.strip()) > _LONGEST_REASON:
        raise ErasureRefused(f"Say why, in at most {_LONGEST_REASON} characters.")
    if Erasure.objects.filter(person=person).exists():
        raise ErasureRefused(f"{person.name} was erased before.")
    if not has_left(person, today=today):
        raise ErasureRefused(
            f"{person.name} has not left the house. Who works here is named in its books; "
            "note the day of leaving first (--left-on)."
        )
    if House.objects.filter(registrar=person).exists():
        raise ErasureRefused(f"{person.name} is the house's registrar; name another with `house` first.")


def _end_sign_in(user: User) -> None:
    """What the sign-in had in tables of libraries (factors, addresses, tries, sessions) is deleted."""
    for session in Session.objects.iterator():
        if session.get_decoded().get("_auth_user_id") == str(user.pk):
            session.delete()
    for model in apps.get_models():
        if model.__module__.startswith(("inventory.", "census.", "django.")):
            continue
        for column in model._meta.local_concrete_fields:
            if isinstance(column, ForeignKey) and column.remote_field.model is get_user_model():
                model._base_manager.filter(**{column.name: user.pk}).delete()
            elif column.name == "username":
                model._base_manager.filter(username=user.username).delete()
    user.groups.clear()
    user.username, user.email, user.first_name, user.last_name = f"erased-{user.pk}", "", "", ""
    user.is_active, user.last_login = False, None
    user.set_unusable_password()
    user.save()
