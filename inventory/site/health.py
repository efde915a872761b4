"""Is the house able to take an entry and keep it?"""

import os
import shutil
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from inventory.book.models import Event
from inventory.db import triggers
from inventory.doors.troubles import trouble_of

from .backup.kept import age_in_words, last_backup, overdue

# Below it the next hours are not certain: a backup, a growing log. Common practice, no source.
LEAST_ROOM = 200 * 2**20
# Two clocks never agree to the second.
_BEHIND = timedelta(minutes=1)
# Entries among which one of a later hour is looked for: those of a day or more in most houses.
_LOOKED_AT = 500


def what_is_wrong(*, now: datetime) -> list[str]:
    """One line for each thing that somebody should look at; the house may well go on serving."""
    try:
        wrong = [f"trigger {name} is missing" for name in triggers.missing(connection)]
        wrong += _clock(now)
    except DatabaseError as error:
        wrong = [_in_words(error)]
    return wrong + _disk() + _backups(now)


def not_ready() -> list[str]:
    """One line for each reason why an entry would not be kept now; asked often, so it asks little."""
    try:
        waiting = _steps_before_it()
        if waiting:
            return [f"the database is older than the program: {waiting} migrations wait"]
        return _writable() + _disk()
    except DatabaseError as error:
        return [_in_words(error)]


def room_left() -> int:
    """Bytes that are free where the data is."""
    return shutil.disk_usage(settings.DATA).free


def _in_words(error: DatabaseError) -> str:
    trouble = trouble_of(error)
    return trouble.remedy if trouble else f"the database does not answer: {type(error).__name__}"


def _clock(now: datetime) -> list[str]:
    """A clock that was set back: nothing is lost, but entries tell the wrong hour until it is mended."""
    newest = Event.objects.order_by("-id").values_list("recorded_at", flat=True)[:_LOOKED_AT]
    last = max(newest, default=None)
    if last is None or last - now <= _BEHIND:
        return []
    return [
        f"the clock stands at {now:%Y-%m-%d %H:%M} UTC, before the last entry of {last:%Y-%m-%d %H:%M} UTC: "
        "set it right"
    ]


def _disk() -> list[str]:
    left = room_left()
    if left >= LEAST_ROOM:
        return []
    return [f"{left // 2**20} MiB are left on the disk, {LEAST_ROOM // 2**20} are needed: make room"]


def _backups(now: datetime) -> list[str]:
    """Told once there is a backup to grow old: who has not begun is told on the page Today."""
    last = last_backup(Path(settings.BACKUP_FOLDER))
    if last is None or not overdue(last, now=now):
        return []
    return [f"the newest backup is {age_in_words(last, now=now)}: see why none was made since"]


@cache
def _steps_of_this_program() -> frozenset[tuple[str, str]]:
    return frozenset(MigrationLoader(None, ignore_no_migrations=True).disk_migrations)


def _steps_before_it() -> int:
    """How many steps the program has that the database has not taken: one query."""
    applied = set(MigrationRecorder(connection).applied_migrations())
    return len(_steps_of_this_program() - applied)


def _writable() -> list[str]:
    """Without writing: a lock that somebody holds for a moment is no reason to be taken from service."""
    if connection.vendor == "sqlite":
        file = Path(connection.settings_dict["NAME"])
        if os.access(file, os.W_OK) and os.access(file.parent, os.W_OK):
            return []
        return ["the database's file, or its folder, cannot be written"]
    with connection.cursor() as cursor:
        cursor.execute("SHOW transaction_read_only")
        return [] if cursor.fetchone() == ("off",) else ["the database takes no writes"]
