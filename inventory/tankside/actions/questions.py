"""Answers what accepted entries left open."""

from datetime import datetime

from django.db import IntegrityError, transaction

from inventory.people.models import Person

from ..models import Entry, SetAside


def set_aside(entry: Entry, *, why: str, by: Person, now: datetime) -> bool:
    """Notes what became of an entry that came back, or that told of animals dead on arrival.

    False when somebody was faster.
    """
    try:
        with transaction.atomic():
            SetAside.objects.create(entry=entry, why=why, by=by, at=now)
    except IntegrityError:
        return False
    return True
