"""The helper with which every view begins: who may open this page.

``@requires()`` lets in any signed-in person, ``@requires(Role.REGISTRAR, Role.CURATOR)`` those
with one of the roles, ``@requires(*READS, writes=KEEPS)`` lets fewer change something there than
look. ``inventory/site/rights.md`` is the whole list, and a test holds it. Nobody passes by being an
administrator: who runs the machine does not thereby count, decide or sign.
"""

import math
from collections.abc import Callable, Collection
from functools import wraps
from typing import Concatenate, ParamSpec
from urllib.parse import unquote, urlsplit

from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import Resolver404, resolve, reverse
from django.utils import timezone

from inventory.doors import clock

from . import sessions
from .actions import limits
from .models import Person
from .queries import AnyUser, NotAPersonError, has_left, person_of, roles_of
from .rules.limits import UPLOADS
from .rules.roles import Role, in_words

__all__ = ["may", "opens", "person_of", "requires", "roles_of", "too_many"]

# Methods that look and change nothing.
READING = ("GET", "HEAD", "OPTIONS")

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


def requires(
    *roles: Role, writes: Collection[Role] | None = None, before_second_step: bool = False
) -> Callable[[View[P]], View[P]]:
    """Decorates a view: signed in, still with the house, and with one of ``roles`` if any is named.

    What is sent (any method but GET and HEAD) needs one of ``writes``; those of ``roles`` when left out.
    ``before_second_step``: a page that is needed to make that step.
    An anonymous visitor goes to the sign-in page and comes back; all others get a plain page
    (403) that says what was needed.
    """

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            person, now = _somebody(request), clock.now()
            if has_left(person, today=timezone.localdate(now)):
                name, left_on = person.name, person.left_on
                sessions.end(request)
                raise PermissionDenied(f"{name} left the house on {left_on}; this sign-in is closed.")
            if why := sessions.why_ended(request, person, now=now):
                sessions.end(request)
                messages.info(request, why)
                return redirect_to_login(request.get_full_path())
            if not before_second_step and (step := sessions.step(request)):
                return _to_second_step(request, step)
            needed = frozenset(roles if writes is None or request.method in READING else writes)
            if needed and not may(request, *needed):
                raise PermissionDenied(_needs(needed, roles_of(request.user)))
            if request.content_type == "multipart/form-data" and request.method == "POST":
                wait = limits.count(UPLOADS, person.pk, now=now)
                if wait:
                    return too_many(request, wait)
            return view(request, *args, **kwargs)

        # What a test holds against the table of rights; functools.wraps carries it outwards.
        guarded.needs = frozenset(roles)  # type: ignore[attr-defined]
        guarded.writes = frozenset(roles if writes is None else writes)  # type: ignore[attr-defined]
        return guarded

    return decorate


def _somebody(request: HttpRequest) -> Person:
    try:
        return person_of(request.user)
    except NotAPersonError:
        raise PermissionDenied(
            f"The sign-in “{request.user}” belongs to nobody in the list of people. "
            "Ask the administrator to link it to a person."
        ) from None


def _to_second_step(request: HttpRequest, step: str) -> HttpResponseBase:
    """To the page of the second step and back; to where one is set up, when the role needs one."""
    if step == sessions.MISSING:
        messages.info(request, "Your role needs a second factor. Set one up to go on.")
        return redirect("my_sign_in")
    return redirect_to_login(request.get_full_path(), login_url=reverse("second_step"))


def too_many(request: HttpRequest, seconds: int) -> HttpResponse:
    """A plain page (429) that says when to come again."""
    answer = render(request, "429.html", {"minutes": math.ceil(seconds / 60)}, status=429)
    answer["Retry-After"] = str(seconds)
    return answer


def may(request: HttpRequest, *roles: Role) -> bool:
    """True when the person at the other end has one of ``roles``."""
    return not roles_of(request.user).isdisjoint(roles)


def opens(user: AnyUser, url: str) -> bool:
    """True when the roles of ``user`` open the page at ``url``: a link to a refusal helps nobody.

    What hangs on the row (a sheet that one counts just now) is known only when the page is asked for.
    """
    try:
        needed: frozenset[Role] = getattr(resolve(unquote(urlsplit(url).path)).func, "needs", frozenset())
    except Resolver404:
        return False
    return not needed or not roles_of(user).isdisjoint(needed)


def _needs(needed: frozenset[Role], has: frozenset[Role]) -> str:
    yours = f"You are signed in as {in_words(has, joined='and')}." if has else "You have no role yet."
    return f"This page is for the role {in_words(needed, joined='or')}. {yours}"
