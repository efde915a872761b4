"""The own sign-in: password, second factor, passkeys, signing out everywhere."""

import json
from urllib.parse import quote, urlencode

import segno
from allauth.mfa.adapter import get_adapter
from allauth.mfa.models import Authenticator
from allauth.mfa.totp.internal.auth import generate_totp_secret
from allauth.mfa.webauthn.internal import auth as webauthn
from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from inventory.doors import clock

from .. import sessions
from ..access import person_of, requires, too_many
from ..actions import NotSetUp, limits, second_factor
from ..actions.sign_in import change_password, end_sessions
from ..forms import AppForm, PasskeyForm, PasswordForm, SureForm
from ..rules.limits import SECOND_STEPS

# The secret of an app that is being set up; it goes when the app's code was right.
_SECRET = "second_factor_secret"


@never_cache
@require_safe
@requires(before_second_step=True)
def my_sign_in(request: HttpRequest) -> HttpResponse:
    """What the own sign-in consists of."""
    if sessions.step(request) == sessions.DUE:
        return redirect("second_step")
    user = _user(request)
    factors = Authenticator.objects.filter(user=user).order_by("created_at")
    kept = [one for one in factors if one.type != Authenticator.Type.RECOVERY_CODES]
    context = {
        "factors": kept,
        "codes_left": next(
            (len(one.wrap().get_unused_codes()) for one in factors if one not in kept),
            0,
        ),
        "has_app": any(one.type == Authenticator.Type.TOTP for one in kept),
        "needed": sessions.needs_second_factor(user),
        "password_form": PasswordForm(user),
    }
    return render(request, "people/my_sign_in.html", context)


@require_POST
@requires()
def my_password(request: HttpRequest) -> HttpResponse:
    """Changes the own password; every other session ends."""
    user = _user(request)
    form = PasswordForm(user, request.POST)
    if wait := _tried(request):
        return too_many(request, wait)
    if form.is_valid():
        try:
            change_password(user, old=form.cleaned_data["password"], new=form.cleaned_data["new"])
        except NotSetUp as refused:
            form.add_error(None, str(refused))
        else:
            update_session_auth_hash(request, user)
            messages.success(request, "Your password is changed. You are signed out everywhere else.")
            return redirect("my_sign_in")
    return render(request, "people/my_password.html", {"form": form})


@require_POST
@requires()
def my_sessions_end(request: HttpRequest) -> HttpResponse:
    """Signs out everywhere, here too."""
    end_sessions(person_of(request.user), now=clock.now())
    sessions.end(request)
    messages.success(request, "You are signed out everywhere.")
    return redirect("sign_in")


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@requires(before_second_step=True)
def my_app(request: HttpRequest) -> HttpResponse:
    """Takes an authenticator app into use: a picture to scan, then the code that it shows."""
    if sessions.step(request) == sessions.DUE:
        return redirect("second_step")
    user = _user(request)
    secret = request.session.setdefault(_SECRET, generate_totp_secret())
    form = AppForm(user, request.POST or None)
    if request.method == "POST":
        if wait := _tried(request):
            return too_many(request, wait)
        if form.is_valid():
            try:
                codes = second_factor.add_app(user, secret=secret, code=form.cleaned_data["code"])
            except second_factor.FactorRefused as refused:
                form.add_error("code", str(refused))
            else:
                request.session.pop(_SECRET, None)
                return _taken(request, codes, "The app is in use from your next sign-in on.")
    adapter = get_adapter()
    issuer, label = adapter.get_totp_issuer(), adapter.get_totp_label(user)
    address = f"otpauth://totp/{quote(f'{issuer}:{label}')}?{urlencode({'secret': secret, 'issuer': issuer})}"
    qr = segno.make(address, error="m").svg_data_uri(scale=5, border=4)
    return render(request, "people/my_app.html", {"form": form, "qr": qr, "secret": secret})


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@requires(before_second_step=True)
def my_passkey(request: HttpRequest) -> HttpResponse:
    """Takes a passkey into use."""
    if sessions.step(request) == sessions.DUE:
        return redirect("second_step")
    user = _user(request)
    form = PasskeyForm(user, request.POST or None)
    if request.method == "POST":
        if wait := _tried(request):
            return too_many(request, wait)
        if form.is_valid():
            try:
                codes = second_factor.add_passkey(
                    user, name=form.cleaned_data["name"], credential=form.cleaned_data["credential"]
                )
            except second_factor.FactorRefused as refused:
                form.add_error(None, str(refused))
            else:
                return _taken(request, codes, "The passkey is in use from your next sign-in on.")
    options = json.dumps({"creation_options": webauthn.begin_registration(user, False)})
    return render(request, "people/my_passkey.html", {"form": form, "options": options})


@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def my_factor_remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Takes an app or a passkey out of use."""
    user = _user(request)
    form = SureForm(user, request.POST or None)
    if request.method == "POST":
        if wait := _tried(request):
            return too_many(request, wait)
        if form.is_valid():
            second_factor.remove(user, pk)
            messages.success(request, "It is out of use.")
            return redirect("my_sign_in")
    context = {"form": form, "heading": "Take a second factor out of use", "does": "Take it out of use"}
    return render(request, "people/sure.html", context)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@requires()
def my_recovery_codes(request: HttpRequest) -> HttpResponse:
    """New recovery codes, shown this once."""
    user = _user(request)
    form = SureForm(user, request.POST or None)
    if request.method == "POST":
        if wait := _tried(request):
            return too_many(request, wait)
        if form.is_valid():
            try:
                return _show(request, second_factor.new_codes(user))
            except second_factor.FactorRefused as refused:
                form.add_error(None, str(refused))
    context = {"form": form, "heading": "New recovery codes", "does": "Make new codes; the old ones end"}
    return render(request, "people/sure.html", context)


def _user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)
    return request.user


def _tried(request: HttpRequest) -> int:
    """Counts a try at a password or a code; in how many seconds the next may be made."""
    return limits.count(SECOND_STEPS, person_of(request.user).pk, now=clock.now())


def _taken(request: HttpRequest, codes: list[str], said: str) -> HttpResponse:
    sessions.passed(request)
    messages.success(request, said)
    return _show(request, codes) if codes else redirect("my_sign_in")


def _show(request: HttpRequest, codes: list[str]) -> HttpResponse:
    answer = render(request, "people/recovery_codes.html", {"codes": codes})
    answer["Cache-Control"] = "no-store"
    return answer
