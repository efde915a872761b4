"""Ends sessions, changes passwords, opens what wrong passwords have locked."""

from datetime import datetime

from axes.utils import reset
from django.contrib.auth.models import User
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import transaction

from ..models import Person
from .set_up import NotSetUp


def end_sessions(person: Person, *, now: datetime) -> None:
    """From now on everybody who is signed in as ``person`` signs in again, on every device."""
    Person.objects.filter(pk=person.pk).update(sessions_ended_at=now)


@transaction.atomic
def change_password(user: User, *, old: str, new: str) -> None:
    """Sets the own password; other sessions end, for they carry a hash of it. Raises :class:`NotSetUp`."""
    if not user.check_password(old):
        raise NotSetUp("The old password is not right.")
    try:
        validate_password(new, user)
    except ValidationError as error:
        raise NotSetUp(" ".join(error.messages)) from error
    user.set_password(new)
    user.save(update_fields=["password"])


def unlock_sign_in(user: User) -> int:
    """Forgets wrong passwords for a sign-in from every address; how many records there were."""
    return int(reset(username=user.get_username()))
