"""The helper with which every view begins: who may open this page.

``@requires()`` lets in any signed-in person, ``@requires(Role.REGISTRAR, Role.CURATOR)`` those
with one of the roles. Nobody passes by being an administrator: who runs the machine does not
thereby count, decide or sign.
"""

from collections.abc import Callable
from functools import wraps
from typing import Concatenate, ParamSpec

from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.utils import timezone

from inventory.doors import clock

from .queries import NotAPersonError, has_left, person_of, roles_of
from .rules.roles import Role, in_words

__all__ = ["may", "person_of", "requires", "roles_of"]

P = ParamSpec("P")
View = Callable[Concatenate[HttpRequest, P], HttpResponseBase]


def requires(*roles: Role) -> Callable[[View[P]], View[P]]:
    """Decorates a view: signed in, still with the house, and with one of ``roles`` if any is named.

    An anonymous visitor goes to the sign-in page and comes back; all others get a plain page
    (403) that says what was needed.
    """

    def decorate(view: View[P]) -> View[P]:
        @wraps(view)
        def guarded(request: HttpRequest, /, *args: P.args, **kwargs: P.kwargs) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            try:
                person = person_of(request.user)
            except NotAPersonError:
                raise PermissionDenied(
                    f"The sign-in “{request.user}” belongs to nobody in the list of people. "
                    "Ask the administrator to link it to a person."
                ) from None
            today = timezone.localdate(clock.now())
            if has_left(person, today=today):
                raise PermissionDenied(
                    f"{person.name} left the house on {person.left_on}; this sign-in is closed."
                )
            if roles and not may(request, *roles):
                raise PermissionDenied(_needs(frozenset(roles), roles_of(request.user)))
            return view(request, *args, **kwargs)

        return guarded

    return decorate


def may(request: HttpRequest, *roles: Role) -> bool:
    """True when the person at the other end has one of ``roles``."""
    return not roles_of(request.user).isdisjoint(roles)


def _needs(needed: frozenset[Role], has: frozenset[Role]) -> str:
    yours = f"You are signed in as {in_words(has, joined='and')}." if has else "You have no role yet."
    return f"This page is for the role {in_words(needed, joined='or')}. {yours}"
