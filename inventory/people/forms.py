"""Forms of people: signing in, which also turns away who has left; a new device; the own code."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.utils import timezone

from inventory.doors import clock

from .models import DeviceScope
from .queries import NotAPersonError, has_left, person_of
from .rules.codes import DIGITS


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


class DeviceForm(forms.Form):
    """A new device: its name and what it is for."""

    name = forms.CharField(max_length=40, label="Name", help_text="As it is written on it: Blue.")
    scope = forms.ChoiceField(choices=DeviceScope.choices, label="What it is for")


class CodeForm(forms.Form):
    """Four digits, typed twice."""

    code = forms.CharField(
        max_length=20,
        label="New code",
        help_text=f"{DIGITS} digits: not one digit four times, and no digits in a row.",
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "new-password"}),
    )
    again = forms.CharField(
        max_length=20,
        label="The same again",
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("code") and typed.get("again") and typed["code"] != typed["again"]:
            self.add_error("again", "not the same as above; nothing was changed")
        return typed
