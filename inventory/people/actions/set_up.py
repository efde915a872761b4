"""Sets up who is in the house, and the house itself."""

from collections.abc import Collection
from datetime import date

from django.contrib.auth import get_user_model
from django.contrib.auth.models import Group, User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction

from ..models import House, Person
from ..rules.roles import Role


class NotSetUp(Exception):
    """What was asked cannot be; the message says what to do. Nothing was changed."""


@transaction.atomic
def set_up_person(
    *,
    name: str,
    sign_in: str = "",
    password: str = "",
    roles: Collection[Role] = (),
    email: str = "",
    left_on: date | None = None,
) -> Person:
    """Makes the person, or changes one who is there; what is left empty stays as it was.

    ``roles`` replace the roles that the person had. A new sign-in needs a password.
    """
    person = Person.objects.filter(name=name).first() or Person(name=name)
    if left_on:
        person.left_on = left_on
    if sign_in:
        person.user = _sign_in(person, sign_in, password)
    if password and person.user is None:
        raise NotSetUp(f"{name} has no sign-in for the password to belong to; give --sign-in too.")
    if password and person.user is not None:
        _set_password(person.user, password)
    if roles and person.user is None:
        raise NotSetUp(f"{name} cannot sign in yet, so no role would do anything; give --sign-in too.")
    if email and person.user is None:
        raise NotSetUp(f"{name} has no sign-in for the e-mail address to belong to; give --sign-in too.")
    if email and person.user is not None:
        _set_email(person.user, email)
    if roles and person.user is not None:
        person.user.groups.set(Group.objects.filter(name__in=[role.value for role in roles]))
    person.save()
    return person


@transaction.atomic
def set_up_house(*, name: str, licence_number: str = "", registrar: str = "") -> House:
    """Names the house, or changes what is said of it; what is left empty stays as it was."""
    house = House.objects.first() or House()
    house.name = name
    house.licence_number = licence_number or house.licence_number
    if registrar:
        house.registrar = Person.objects.filter(name=registrar).first()
        if house.registrar is None:
            raise NotSetUp(f"nobody here is called {registrar!r}; add the person first.")
    house.save()
    return house


def _sign_in(person: Person, sign_in: str, password: str) -> User:
    """The person's user under this name; a new one when the person has none."""
    users = get_user_model().objects
    taken = users.filter(username=sign_in).exclude(pk=person.user_id or 0).first()
    if taken is not None:
        raise NotSetUp(f"the sign-in {sign_in!r} is in use by somebody else; choose another.")
    if person.user is not None:
        person.user.username = sign_in
        person.user.save(update_fields=["username"])
        return person.user
    if not password:
        raise NotSetUp(f"{person.name} has no sign-in yet; a new one needs a password.")
    user: User = users.create_user(sign_in)
    return user


def _set_email(user: User, email: str) -> None:
    try:
        validate_email(email)
    except ValidationError as error:
        raise NotSetUp(f"{email!r} is no e-mail address.") from error
    user.email = email
    user.save(update_fields=["email"])


def _set_password(user: User, password: str) -> None:
    try:
        validate_password(password, user)
    except ValidationError as error:
        raise NotSetUp(" ".join(error.messages)) from error
    user.set_password(password)
    user.save(update_fields=["password"])
