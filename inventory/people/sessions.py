"""What a session knows: since when it lasts, and whether the second step was done.

Kept in the session itself, so that a page asks the database nothing more.
"""

from datetime import datetime, timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth import logout
from django.contrib.auth.models import User
from django.contrib.auth.signals import user_logged_in
from django.http import HttpRequest

from inventory.doors import clock

from .actions.second_factor import has_second_factor
from .models import Person
from .queries import roles_of
from .rules.limits import SessionLimits, why_session_ended

_SIGNED_IN, _SEEN, _STEP = "signed_in_at", "seen_at", "second_step"
# To the minute is enough, and saves a write for each page.
_SEEN_EVERY = timedelta(minutes=1)
# A second step is due; or the role needs one and there is none yet.
DUE, MISSING = "due", "missing"


def needs_second_factor(user: User) -> bool:
    """Whether the house asks a second factor of somebody with these roles."""
    return any(role.value in settings.SECOND_FACTOR_ROLES for role in roles_of(user))


def begin(sender: object, request: HttpRequest, user: User, **_: Any) -> None:
    """At each sign-in, by password or by single sign-on."""
    now = clock.now().isoformat()
    request.session[_SIGNED_IN] = request.session[_SEEN] = now
    look_at_second_step(request, user)


def look_at_second_step(request: HttpRequest, user: User) -> None:
    """Notes whether a second step is due before anything else."""
    if has_second_factor(user):
        request.session[_STEP] = DUE
    elif needs_second_factor(user):
        request.session[_STEP] = MISSING
    else:
        passed(request)


def step(request: HttpRequest) -> str:
    """:data:`DUE`, :data:`MISSING`, or "" when nothing stands between the person and the pages."""
    return str(request.session.get(_STEP, ""))


def passed(request: HttpRequest) -> None:
    """The second step was done, or is none."""
    request.session.pop(_STEP, None)


def limits() -> SessionLimits:
    """As the house has set them."""
    return SessionLimits(
        idle=timedelta(minutes=settings.SESSION_IDLE_MINUTES), whole=timedelta(hours=settings.SESSION_HOURS)
    )


def why_ended(request: HttpRequest, person: Person, *, now: datetime) -> str:
    """Why this session is over; empty while it lasts, and then it is noted that it was seen."""
    signed_in = _moment(request, _SIGNED_IN, now)
    seen = _moment(request, _SEEN, now)
    why = why_session_ended(
        signed_in=signed_in, seen=seen, ended=person.sessions_ended_at, now=now, limits=limits()
    )
    if not why and now - seen >= _SEEN_EVERY:
        request.session[_SEEN] = now.isoformat()
    return why


def end(request: HttpRequest) -> None:
    """Signs out."""
    logout(request)


def _moment(request: HttpRequest, name: str, now: datetime) -> datetime:
    stated = request.session.get(name)
    if stated is None:
        # Begun by an earlier version: its time starts now.
        request.session[name] = now.isoformat()
        return now
    return datetime.fromisoformat(stated)


def watch() -> None:
    """Called when Django is ready."""
    user_logged_in.connect(begin, dispatch_uid="people.sessions.begin")
