"""What allauth asks of the house: keys are encrypted in the database, nobody signs up, and single sign-on
finds a person who is there."""

import base64
from typing import Any, NoReturn

from allauth.account.adapter import DefaultAccountAdapter
from allauth.core.exceptions import ImmediateHttpResponse
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.socialaccount.adapter import DefaultSocialAccountAdapter
from cryptography.fernet import Fernet
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import get_user_model
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils import timezone
from django.utils.crypto import salted_hmac

from inventory.doors import clock

from .queries import NotAPersonError, has_left, person_of, the_house


def _box() -> Fernet:
    """Keyed with the site's secret: who reads the database alone makes no codes with it."""
    key = salted_hmac("people.second_factor", "key", algorithm="sha256").digest()
    return Fernet(base64.urlsafe_b64encode(key))


class SecondFactor(DefaultMFAAdapter):
    """How keys are kept, and what an authenticator app shows."""

    def encrypt(self, text: str) -> str:
        return _box().encrypt(text.encode()).decode()

    def decrypt(self, encrypted_text: str) -> str:
        return _box().decrypt(encrypted_text.encode()).decode()

    def get_totp_label(self, user: Any) -> str:
        return str(user.get_username())

    def get_totp_issuer(self) -> str:
        house = the_house()
        return house.name if house else "Tidetally"


class Accounts(DefaultAccountAdapter):
    """No accounts are made at the door, no mail is sent, and the second step is the house's own."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def get_login_stages(self) -> list[str]:
        return []

    def get_login_redirect_url(self, request: HttpRequest) -> str:
        return resolve_url(settings.LOGIN_REDIRECT_URL)

    def add_message(self, *args: Any, **kwargs: Any) -> None:
        """The house says in its own words what happened."""

    def send_notification_mail(self, *args: Any, **kwargs: Any) -> None:
        """Nobody here waits for such mail."""


class SingleSignOn(DefaultSocialAccountAdapter):
    """Who comes from the identity provider must be somebody here: linked before, or by e-mail address."""

    def is_open_for_signup(self, request: HttpRequest, sociallogin: Any) -> bool:
        return False

    def pre_social_login(self, request: HttpRequest, sociallogin: Any) -> None:
        user = sociallogin.user if sociallogin.is_existing else _by_email(sociallogin)
        if user is None:
            _turn_away(
                request,
                "The identity provider knows you, but no sign-in here has your e-mail address. "
                "Ask the administrator.",
            )
        try:
            left = has_left(person_of(user), today=timezone.localdate(clock.now()))
        except NotAPersonError:
            _turn_away(
                request, "This sign-in belongs to nobody in the list of people. Ask the administrator."
            )
        if left or not user.is_active:
            _turn_away(request, "This sign-in is closed: the person has left the house.")
        if not sociallogin.is_existing:
            sociallogin.connect(request, user)

    def on_authentication_error(self, request: HttpRequest, *args: Any, **kwargs: Any) -> NoReturn:
        _turn_away(request, "The identity provider did not sign you in. Try again, or use your password.")


def _by_email(sociallogin: Any) -> User | None:
    """The one sign-in with an address that the provider has verified."""
    verified = [one.email for one in sociallogin.email_addresses if one.verified]
    found = [user for address in verified for user in get_user_model().objects.filter(email__iexact=address)]
    return found[0] if len(found) == 1 else None


def _turn_away(request: HttpRequest, why: str) -> NoReturn:
    messages.error(request, why)
    answer: HttpResponse = redirect("sign_in")
    raise ImmediateHttpResponse(answer)
