"""The second step of signing in: an app's six digits, a passkey, or a recovery code.

allauth's package holds the keys and does the arithmetic (RFC 6238, WebAuthn); the pages are ours.
"""

import json
from datetime import datetime, timedelta
from typing import Any

from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, validate_totp_code
from allauth.mfa.webauthn.internal import auth as webauthn
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import Q

# For how long a code of an app is good: RFC 6238, section 5.2.
_STEP = timedelta(seconds=30)
KINDS = (Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN)


class FactorRefused(Exception):
    """Not taken; the message says why."""


def has_second_factor(user: User) -> bool:
    """Whether the second step is asked of this sign-in. One query."""
    return bool(Authenticator.objects.filter(user=user, type__in=KINDS).exists())


@transaction.atomic
def add_app(user: User, *, secret: str, code: str) -> list[str]:
    """Takes an authenticator app into use; the recovery codes when there were none yet."""
    if Authenticator.objects.filter(user=user, type=Authenticator.Type.TOTP).exists():
        raise FactorRefused("An app is in use already; remove that one first.")
    if not validate_totp_code(secret, code):
        raise FactorRefused("This is not the code that the app shows now.")
    TOTP.activate(user, secret)
    return _first_codes(user)


@transaction.atomic
def add_passkey(user: User, *, name: str, credential: str) -> list[str]:
    """Takes a passkey into use; the recovery codes when there were none yet."""
    found = _read(credential)
    try:
        webauthn.parse_registration_response(found)
        webauthn.complete_registration(found)
    except (ValidationError, ValueError, KeyError, TypeError) as error:
        raise FactorRefused("The passkey was not taken; try again.") from error
    webauthn.WebAuthn.add(user, " ".join(name.split())[:60] or "Passkey", found)
    return _first_codes(user)


@transaction.atomic
def remove(user: User, pk: int) -> None:
    """Takes a factor out of use; the recovery codes go with the last one."""
    Authenticator.objects.filter(user=user, pk=pk).exclude(type=Authenticator.Type.RECOVERY_CODES).delete()
    if not has_second_factor(user):
        Authenticator.objects.filter(user=user).delete()


@transaction.atomic
def new_codes(user: User) -> list[str]:
    """Ten new recovery codes, each good once; the old ones end. They are shown this once."""
    if not has_second_factor(user):
        raise FactorRefused("Add an app or a passkey first.")
    Authenticator.objects.filter(user=user, type=Authenticator.Type.RECOVERY_CODES).delete()
    return list(RecoveryCodes.activate(user).generate_codes())


@transaction.atomic
def reset_factors(user: User) -> None:
    """Takes every factor away from somebody who has lost theirs."""
    Authenticator.objects.filter(user=user).delete()


def passes_with_code(user: User, code: str, *, now: datetime) -> bool:
    """Whether ``code`` is what the app shows, or an unused recovery code. Each is good once."""
    code = "".join(code.split())
    for factor in Authenticator.objects.filter(user=user).exclude(type=Authenticator.Type.WEBAUTHN):
        if factor.type == Authenticator.Type.TOTP:
            if factor.wrap().validate_code(code) and _first_in_its_step(factor, now):
                return True
        elif factor.wrap().validate_code(code):
            return True
    return False


def passes_with_passkey(user: User, credential: str, *, now: datetime) -> bool:
    """Whether the browser's answer was signed by a passkey of this sign-in."""
    try:
        found = webauthn.complete_authentication(user, _read(credential))
    except (FactorRefused, ValidationError, ValueError, KeyError, TypeError):
        return False
    Authenticator.objects.filter(pk=found.pk).update(last_used_at=now)
    return True


def _first_in_its_step(factor: Authenticator, now: datetime) -> bool:
    """Compare and set: the same six digits are taken once, by whichever process comes first."""
    seconds = _STEP.total_seconds()
    began = datetime.fromtimestamp(now.timestamp() // seconds * seconds, tz=now.tzinfo)
    unused = Q(last_used_at=None) | Q(last_used_at__lt=began)
    return bool(Authenticator.objects.filter(unused, pk=factor.pk).update(last_used_at=now))


def _first_codes(user: User) -> list[str]:
    if Authenticator.objects.filter(user=user, type=Authenticator.Type.RECOVERY_CODES).exists():
        return []
    return list(RecoveryCodes.activate(user).generate_codes())


def _read(credential: str) -> dict[str, Any]:
    try:
        found = json.loads(credential)
    except ValueError as error:
        raise FactorRefused("The browser sent no passkey; try again.") from error
    if not isinstance(found, dict):
        raise FactorRefused("The browser sent no passkey; try again.")
    return found
