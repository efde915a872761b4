"""Counts requests over all processes, in the database, and says when there were too many."""

import math
from collections import deque
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils.crypto import salted_hmac

from ..models import Asked
from ..rules.limits import Limit


def count(limit: Limit, asker: object, *, now: datetime) -> int:
    """Counts one request; 0, or in how many seconds the asker may come again when this was one too many.

    Time is cut into stretches of ``limit.within``, so that one row is enough: at the border of two an
    asker gets at most twice the number. The asker is kept as a keyed hash.
    """
    seconds = limit.within.total_seconds()
    stretch = math.floor(now.timestamp() / seconds)
    ends = datetime.fromtimestamp((stretch + 1) * seconds, tz=now.tzinfo)
    key = salted_hmac("people.asked", f"{limit.what}/{asker}/{stretch}", algorithm="sha256").hexdigest()
    with transaction.atomic():
        if not Asked.objects.filter(key=key).update(number=F("number") + 1):
            Asked.objects.filter(until__lt=now).delete()
            try:
                with transaction.atomic():
                    Asked.objects.create(key=key, number=1, until=ends)
            except IntegrityError:
                # Another process was first.
                Asked.objects.filter(key=key).update(number=F("number") + 1)
        number = Asked.objects.values_list("number", flat=True).get(key=key)
    return math.ceil((ends - now).total_seconds()) if number > limit.number else 0


_RECENT: dict[object, deque[datetime]] = {}
_MOST_ASKERS = 1000


def count_here(limit: Limit, asker: object, *, now: datetime) -> int:
    """As :func:`count`, in the memory of this process: for doors that may not wait for a write."""
    if len(_RECENT) > _MOST_ASKERS:
        _RECENT.clear()
    recent = _RECENT.setdefault((limit.what, asker), deque(maxlen=limit.number + 1))
    recent.append(now)
    within = now - recent[0]
    if len(recent) > limit.number and timedelta() <= within < limit.within:
        return math.ceil((limit.within - within).total_seconds())
    return 0
