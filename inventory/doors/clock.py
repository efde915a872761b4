"""The one place where the time of day is read.

Computation is always given its moment; views and commands ask here. The demo house
lives on a fixed day: ``TIDETALLY_NOW`` (local date and time of the house) moves the
clock so that the process starts at that moment and then runs on.
"""

import os
from datetime import datetime, timedelta

from django.utils import timezone

_started = timezone.now()


def shift() -> timedelta:
    """How far a demonstration's present lies from the real one; zero in a house."""
    pretended = os.environ.get("TIDETALLY_NOW", "")
    if not pretended:
        return timedelta()
    return timezone.make_aware(datetime.fromisoformat(pretended)) - _started


def now() -> datetime:
    """The present moment, aware, UTC."""
    return timezone.now() + shift()
