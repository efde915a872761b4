"""Ticks off what an accepted event had raised."""

from collections.abc import Collection
from datetime import datetime

from inventory.people.models import Person

from ..models import Flag
from ..models.flags import FlagKind


def settle_flag(flag: Flag, *, by: Person, now: datetime) -> bool:
    """Marks ``flag`` as looked at. False when somebody was faster: the first name stays."""
    return bool(Flag.objects.filter(pk=flag.pk, settled_at=None).update(settled_at=now, settled_by=by))


def settle_late(*, before: datetime, still_late: Collection[int], by: Person, now: datetime) -> int:
    """Late entries that have joined a restated period: dated before its end, and not ``still_late``."""
    joined = Flag.objects.filter(kind=FlagKind.LATE_ENTRY, settled_at=None, event__effective_at__lt=before)
    return joined.exclude(event__in=still_late).update(settled_at=now, settled_by=by)
