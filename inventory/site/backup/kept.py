"""The backups that lie in a folder, and whether the newest is too old."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from .retention import made_at

# A daily backup that failed once is told on the second day, before two are missing. Common practice,
# no source.
OVERDUE_AFTER = timedelta(hours=36)


@dataclass(frozen=True, slots=True)
class Kept:
    """One backup, by its name and size; nobody has looked into it."""

    name: str
    made_at: datetime
    size: int

    @property
    def encrypted(self) -> bool:
        return self.name.endswith(".age")


def backups_in(folder: Path) -> list[Kept]:
    """The backups of ours in ``folder``, newest first; none where there is no such folder."""
    if not folder.is_dir():
        return []
    found = [
        Kept(path.name, moment, path.stat().st_size)
        for path in folder.iterdir()
        if (moment := made_at(path.name))
    ]
    return sorted(found, key=lambda kept: kept.made_at, reverse=True)


def last_backup(folder: Path) -> Kept | None:
    return next(iter(backups_in(folder)), None)


def overdue(last: Kept | None, *, now: datetime) -> bool:
    """True when there is none, or the newest is older than it should be."""
    return last is None or now - last.made_at > OVERDUE_AFTER


def age_in_words(last: Kept, *, now: datetime) -> str:
    """ "3 days old", "5 hours old"."""
    hours = max(0, int((now - last.made_at).total_seconds() // 3_600))
    number, unit = (hours // 24, "day") if hours >= 48 else (hours, "hour")
    return f"{number} {unit}{'' if number == 1 else 's'} old"
