"""Ticks off what an accepted event had raised."""

from datetime import datetime

from inventory.people.models import Person

from ..models import Flag


def settle_flag(flag: Flag, *, by: Person, now: datetime) -> bool:
    """Marks ``flag`` as looked at. False when somebody was faster: the first name stays."""
    return bool(Flag.objects.filter(pk=flag.pk, settled_at=None).update(settled_at=now, settled_by=by))
