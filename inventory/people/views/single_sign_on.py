"""Single sign-on: to the identity provider and back."""

import logging

from allauth.socialaccount.helpers import complete_social_login
from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST, require_safe

from inventory.doors import clock

from ..access import too_many
from ..actions import limits
from ..online.identity import NotBelieved, lead_there, who_came_back
from ..rules.limits import SIGN_INS

log = logging.getLogger(__name__)
_WORDS = "The identity provider did not sign you in. Try again, or use your password."


@require_POST
def begin(request: HttpRequest) -> HttpResponse:
    """To the provider; by a form only, so that no other site's link signs anybody in."""
    wait = limits.count(SIGN_INS, request.META["REMOTE_ADDR"], now=clock.now())
    if wait:
        return too_many(request, wait)
    wanted = request.GET.get("next", "")
    safe = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    try:
        return lead_there(request, then=wanted if safe else resolve_url(settings.LOGIN_REDIRECT_URL))
    except NotBelieved as why:
        return _not_signed_in(request, why)


@never_cache
@require_safe
def back(request: HttpRequest) -> HttpResponse:
    """Back from the provider: who is somebody here is let in, as after a password."""
    try:
        found = who_came_back(request)
    except NotBelieved as why:
        return _not_signed_in(request, why)
    answer: HttpResponse = complete_social_login(request, found)
    return answer


def _not_signed_in(request: HttpRequest, why: NotBelieved) -> HttpResponse:
    log.warning("single sign-on failed: %s", why)
    messages.error(request, _WORDS)
    return redirect("sign_in")
