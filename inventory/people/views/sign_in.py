"""Signing in: the password, the lock after wrong ones, and the second step."""

import json
import math
from typing import Any

from allauth.mfa.models import Authenticator
from allauth.mfa.webauthn.internal import auth as webauthn
from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth import views as auth
from django.contrib.auth.models import User
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render, resolve_url
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from inventory.doors import clock

from .. import sessions
from ..access import person_of, requires, too_many
from ..actions import limits
from ..actions.second_factor import passes_with_code, passes_with_passkey
from ..forms import SecondStepForm, SignInForm
from ..rules.limits import SECOND_STEPS, SIGN_INS

_NO_CODE = "This was not taken. A code is good once and for half a minute: wait for the next."
_NO_PASSKEY = "The passkey was not taken: it is not one of this sign-in, or the page had been open too long."


class SignIn(auth.LoginView):
    """Name and password; single sign-on where the house has it."""

    template_name = "people/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True
    extra_context = {"oidc": settings.OIDC_ENABLED, "oidc_name": settings.OIDC_NAME}

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        wait = limits.count(SIGN_INS, request.META["REMOTE_ADDR"], now=clock.now())
        if wait:
            return too_many(request, wait)
        return super().post(request, *args, **kwargs)


def locked_out(
    request: HttpRequest, original_response: object, credentials: dict[str, Any] | None
) -> HttpResponse:
    """The plain page (429) after too many wrong passwords; the same for a name that nobody has."""
    tried = AccessAttempt.objects.filter(
        username=(credentials or {}).get("username") or request.POST.get("username", ""),
        ip_address=request.META["REMOTE_ADDR"],
    ).order_by("-attempt_time")
    latest = tried.values_list("attempt_time", flat=True).first()
    left = settings.AXES_COOLOFF_TIME
    if latest is not None:
        # The lock runs on the machine's clock, not on a demonstration's.
        left -= clock.now() - clock.shift() - latest
    seconds = max(60, math.ceil(left.total_seconds()))
    answer = render(request, "people/locked_out.html", {"minutes": math.ceil(seconds / 60)}, status=429)
    answer["Retry-After"] = str(seconds)
    return answer


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@requires(before_second_step=True)
def second_step(request: HttpRequest) -> HttpResponseBase:
    """The code of an app, a recovery code or a passkey; then on to the page that was asked for."""
    user, now = request.user, clock.now()
    assert isinstance(user, User)
    target = _target(request)
    if sessions.step(request) != sessions.DUE:
        return redirect(target)
    kinds = set(Authenticator.objects.filter(user=user).values_list("type", flat=True))
    form = SecondStepForm(request.POST or None, has_app=Authenticator.Type.TOTP in kinds)
    if request.method == "POST" and form.is_valid():
        wait = limits.count(SECOND_STEPS, person_of(user).pk, now=now)
        if wait:
            return too_many(request, wait)
        code, credential = form.cleaned_data["code"], form.cleaned_data["credential"]
        right = (
            passes_with_passkey(user, credential, now=now)
            if credential
            else passes_with_code(user, code, now=now)
        )
        if right:
            sessions.passed(request)
            request.session.cycle_key()
            return redirect(target)
        form.add_error(None, _NO_PASSKEY if credential else _NO_CODE)
    passkey = Authenticator.Type.WEBAUTHN in kinds
    context = {
        "form": form,
        "next": target,
        "options": json.dumps({"request_options": webauthn.begin_authentication(user)}) if passkey else "",
    }
    return render(request, "people/second_step.html", context)


def _target(request: HttpRequest) -> str:
    """Where the person wanted to go; the first page for what leads to another site."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    safe = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if safe else resolve_url(settings.LOGIN_REDIRECT_URL)
