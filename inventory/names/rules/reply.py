"""How an attempt to ask an online service ends, and how long to wait before the next one."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from enum import StrEnum

from .answer import ServiceAnswer

# Seconds. The first wait after a failure doubles each time, up to the longest.
FIRST_WAIT = 2.0
LONGEST_WAIT = 60.0
# A wait that a service asks for is believed up to here: a wrong header must not silence us for ever.
LONGEST_PAUSE = 24 * 3600.0

# Passing troubles of a service; any other status from 400 on will be the same the next time.
PASSING = frozenset({408, 425, 429, 500, 502, 503, 504})


class State(StrEnum):
    """How the attempt ended. These are the only ends."""

    ANSWERED = "answered"
    NO_ANSWER = "no_answer"
    REFUSED = "refused"
    OFFLINE = "offline"
    UNREADABLE = "unreadable"


@dataclass(frozen=True, slots=True)
class Reply:
    """One attempt, however many requests it took.

    ``sentence`` is for people; ``pause`` is how many seconds the service wants to be left alone
    (``None``: it did not say); ``stop`` is true when asking for other names would end the same way.
    """

    state: State
    sentence: str
    answer: ServiceAnswer | None = None
    requests: int = 0
    pause: float | None = None
    stop: bool = False


def wait_before(attempt: int) -> float:
    """Seconds to wait before the second (1), third (2) ... request, when the service does not say."""
    return float(min(LONGEST_WAIT, FIRST_WAIT * 2 ** min(attempt - 1, 10)))


def retry_after(header: str | None, *, date: str | None = None, now: datetime) -> float | None:
    """Seconds that a ``Retry-After`` header asks for (RFC 9110, 10.2.3): a number, or a date.

    A date is measured from the answer's own ``Date``, so that a clock that is wrong here does no
    harm, else from ``now``. ``None`` for no header or one that is neither.
    """
    text = (header or "").strip()
    if text.isascii() and text.isdigit():
        seconds = float(text[:12])
    else:
        until, since = _http_date(text), _http_date((date or "").strip()) or now
        if until is None:
            return None
        seconds = (until - since).total_seconds()
    return min(LONGEST_PAUSE, max(0.0, seconds))


def in_words(seconds: float) -> str:
    """A span for people: "40 seconds", "5 minutes", "3 hours", "12 days"; rounded down."""
    for size, name in ((86_400, "day"), (3_600, "hour"), (60, "minute")):
        if seconds >= size:
            n = math.floor(seconds / size)
            return f"{n} {name}{'s' if n != 1 else ''}"
    n = max(0, math.floor(seconds))
    return f"{n} second{'s' if n != 1 else ''}"


def _http_date(text: str) -> datetime | None:
    try:
        found = parsedate_to_datetime(text)
    except (ValueError, TypeError, IndexError, OverflowError):
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)
