"""Forms of people: signing in, which also turns away who has left; a new device; the own code,
password and second factor; who inspects."""

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.utils import timezone

from inventory.doors import clock

from .models import DeviceScope, Person
from .queries import NotAPersonError, has_left, person_of
from .rules.codes import DIGITS


class SignInForm(AuthenticationForm):
    """Asks for the sign-in name and the password."""

    error_messages = {
        "invalid_login": "Sign-in name and password do not belong together. Capital letters count in both.",
        "inactive": "This sign-in is closed. Ask the administrator.",
    }

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


class SecondStepForm(forms.Form):
    """A code, or what a passkey has signed (the page's own program fills it in)."""

    code = forms.CharField(
        max_length=20,
        required=False,
        label="Code",
        help_text="Six digits of your app, or one of your recovery codes.",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "one-time-code"}),
    )
    credential = forms.CharField(max_length=20_000, required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, has_app: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not has_app:
            self.fields["code"].help_text = "One of your recovery codes, when the passkey is not at hand."

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if not typed.get("code") and not typed.get("credential"):
            self.add_error("code", "type a code")
        return typed


class SureForm(forms.Form):
    """The own password, before something about the own sign-in is changed."""

    password = forms.CharField(
        label="Your password",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, user: User, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user = user

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        if not self.user.check_password(password):
            raise ValidationError("this is not your password; nothing was changed")
        return password


class AppForm(SureForm):
    """The six digits that the app shows, to see that it has the secret."""

    code = forms.CharField(
        max_length=10,
        label="What the app shows now",
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "one-time-code"}),
    )


class PasskeyForm(SureForm):
    """A name for the passkey; the page's own program fills the rest in."""

    name = forms.CharField(max_length=60, label="Name", help_text="Such as: phone, or blue key.")
    credential = forms.CharField(max_length=20_000, widget=forms.HiddenInput)


class PasswordForm(SureForm):
    """A new password, typed twice."""

    new = forms.CharField(
        label="New password",
        strip=False,
        help_text="At least twelve characters.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )
    again = forms.CharField(
        label="The same again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        typed = super().clean() or {}
        if typed.get("new") and typed.get("again") and typed["new"] != typed["again"]:
            self.add_error("again", "not the same as above; nothing was changed")
        return typed


class TermForm(forms.Form):
    """Who inspects from when to when, and why."""

    person = forms.ModelChoiceField(
        Person.objects.filter(user__isnull=False).order_by("name"), label="Who inspects"
    )
    starts_on = forms.DateField(label="From", widget=forms.DateInput(attrs={"type": "date"}))
    ends_on = forms.DateField(
        label="Until, that day included", widget=forms.DateInput(attrs={"type": "date"})
    )
    reason = forms.CharField(max_length=300, label="Why", help_text="Such as the authority and its letter.")
