"""How often a door may be knocked at, and how long a session lasts. Pure."""

from dataclasses import dataclass
from datetime import datetime, timedelta


@dataclass(frozen=True, slots=True)
class Limit:
    """``number`` requests in ``within``; ``what`` is part of the key under which they are counted."""

    what: str
    number: int
    within: timedelta


# By address; a house behind one address still signs in on Monday morning (common practice, no source).
SIGN_INS = Limit("sign-in", 60, timedelta(minutes=5))
# By address: codes that let a device in, of which twenty wrong ones end all that are open.
ENROLMENTS = Limit("enrol", 20, timedelta(minutes=10))
# By device: codes of people; five wrong ones lock a person there anyhow.
CODES = Limit("code", 60, timedelta(minutes=5))
# By address: requests of the interface with a token that opens nothing.
WRONG_TOKENS = Limit("wrong token", 60, timedelta(minutes=5))
# By person: forms with files.
UPLOADS = Limit("upload", 120, timedelta(minutes=10))
# By person: second factors.
SECOND_STEPS = Limit("second step", 10, timedelta(minutes=5))
# By device and process, kept in memory: a request is an entry at the tank, which may not wait for a count.
REQUESTS = Limit("request", 1200, timedelta(minutes=1))


@dataclass(frozen=True, slots=True)
class SessionLimits:
    """After how long without a request, and after how long in all, somebody signs in again."""

    idle: timedelta
    whole: timedelta


def why_session_ended(
    *, signed_in: datetime, seen: datetime, ended: datetime | None, now: datetime, limits: SessionLimits
) -> str:
    """Why a session is over, as a sentence; empty while it lasts."""
    if ended is not None and signed_in < ended:
        return "You were signed out everywhere. Please sign in again."
    if now - signed_in >= limits.whole:
        return "Your sign-in has lasted its time. Please sign in again."
    if now - seen >= limits.idle:
        return "Nothing was done for a while. Please sign in again."
    return ""
