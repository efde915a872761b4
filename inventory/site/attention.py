"""What the machine asks its administrator to look at."""

from datetime import datetime
from pathlib import Path

from django.conf import settings
from django.urls import reverse

from inventory.doors import clock
from inventory.people.attention import Attention, Line
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .backup.kept import age_in_words, last_backup, overdue


def items(person: Person, *, now: datetime) -> list[Attention]:
    """Backups that are overdue; asks the folder, not the database. A demonstration needs none."""
    last = last_backup(Path(settings.BACKUP_FOLDER))
    if clock.shift() or not overdue(last, now=now):
        return []
    url = reverse("machine")
    words = f"the newest backup is {age_in_words(last, now=now)}" if last else "there is no backup yet"
    return [Attention("Backups", 1, url, frozenset({Role.ADMINISTRATOR}), (Line(words, url),))]
