"""The sign-in form: Django's own, which also turns away people who have left."""

from typing import Any

from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.utils import timezone

from inventory.doors import clock

from .queries import NotAPersonError, has_left, person_of


class SignInForm(AuthenticationForm):
    """Asks for the sign-in name and the password."""

    def confirm_login_allowed(self, user: Any) -> None:
        super().confirm_login_allowed(user)
        try:
            person = person_of(user)
        except NotAPersonError:
            raise ValidationError(
                "This sign-in belongs to nobody in the list of people. Ask the administrator.",
                code="not_a_person",
            ) from None
        if has_left(person, today=timezone.localdate(clock.now())):
            raise ValidationError("This sign-in is closed: the person has left the house.", code="left")
