"""What is wrong when the database or the disk cannot keep a thing, in words that a keeper understands.

None of these is anybody's mistake and all of them end: whoever sent something sends it again. What is
not among them is a fault of the program, and is told as one.
"""

import errno
from dataclasses import dataclass
from enum import StrEnum

from django.db import DatabaseError, InterfaceError, OperationalError, ProgrammingError


class Kind(StrEnum):
    """For programs: the ``reason`` in an answer, the label of a metric."""

    FULL = "full"
    DISK = "disk"
    READ_ONLY = "read_only"
    BUSY = "busy"
    AWAY = "away"
    OLDER = "older"


@dataclass(frozen=True, slots=True)
class Trouble:
    """``words`` for whoever sent something, ``remedy`` for who looks after the machine."""

    kind: Kind
    words: str
    remedy: str


TROUBLES = {
    trouble.kind: trouble
    for trouble in (
        Trouble(
            Kind.FULL,
            "The disk of the house's computer is full. Nothing that was sent just now is kept.",
            "Make room on the disk that holds the database; the site then goes on by itself.",
        ),
        Trouble(
            Kind.DISK,
            "The disk of the house's computer did not take it. Nothing that was sent just now is kept.",
            "Look whether the disk is full, a quota is reached, or the disk fails; make a backup elsewhere.",
        ),
        Trouble(
            Kind.READ_ONLY,
            "The house's database can be read, but not written. Nothing that was sent just now is kept.",
            "Let the user who runs the site write the database's file and its folder; on PostgreSQL see "
            "that it is no standby. The site then goes on by itself.",
        ),
        Trouble(
            Kind.BUSY,
            "Something else has been writing into the house's database for too long. Nothing that was sent "
            "just now is kept.",
            "Wait for the load, restore or migration that runs, or end the program that holds the database.",
        ),
        Trouble(
            Kind.AWAY,
            "The house's database does not answer. Nothing that was sent just now is kept.",
            "Start the database, or mend the way to it; the site then goes on by itself.",
        ),
        Trouble(
            Kind.OLDER,
            "The house's database is older than the program. Nothing that was sent just now is kept.",
            "Back it up, then run: python manage.py migrate",
        ),
    )
}

# By SQLite's extended names; the first part of an extended one is the plain one.
_SQLITE = {
    "SQLITE_FULL": Kind.FULL,
    "SQLITE_READONLY": Kind.READ_ONLY,
    "SQLITE_CANTOPEN": Kind.AWAY,
    "SQLITE_BUSY": Kind.BUSY,
    "SQLITE_LOCKED": Kind.BUSY,
    "SQLITE_IOERR": Kind.DISK,  # a quota or a limit on a file's size answers so, and a dying disk
}
# Classes and codes of SQLSTATE (PostgreSQL, appendix A), the longest that fits first.
_SQLSTATE = {
    "53100": Kind.FULL,
    "58030": Kind.DISK,
    "25006": Kind.READ_ONLY,
    "42P01": Kind.OLDER,
    "42703": Kind.OLDER,
    "40": Kind.BUSY,
    "55P03": Kind.BUSY,
    "57014": Kind.BUSY,
    "08": Kind.AWAY,
    "53": Kind.AWAY,
    "57P": Kind.AWAY,
    "3D": Kind.AWAY,
    "28": Kind.AWAY,
}
_DISK = {
    errno.ENOSPC: Kind.FULL,
    errno.EDQUOT: Kind.FULL,
    errno.EFBIG: Kind.DISK,
    errno.EIO: Kind.DISK,
    errno.EROFS: Kind.READ_ONLY,
}


def trouble_of(error: BaseException | None) -> Trouble | None:
    """The trouble that ``error`` tells of, or None when it is another fault."""
    if isinstance(error, OSError):
        kind = _DISK.get(error.errno or 0)
    elif isinstance(error, DatabaseError | InterfaceError):
        kind = _of_database(error)
    else:
        kind = None
    return TROUBLES[kind] if kind else None


def _of_database(error: Exception) -> Kind | None:
    cause = error.__cause__
    name = str(getattr(cause, "sqlite_errorname", "") or "")
    state = str(getattr(cause, "sqlstate", "") or "")
    for known, kind in _SQLITE.items():
        if name.startswith(known):
            return kind
    if state:
        return next((kind for start, kind in _SQLSTATE.items() if state.startswith(start)), None)
    if isinstance(error, OperationalError | ProgrammingError) and "no such " in str(error):
        return Kind.OLDER  # SQLite's word for a table or a column that the program expects
    # A connection that could not be made has no state; a database that hangs up tells none either.
    away = not name and isinstance(error, OperationalError | InterfaceError)
    return Kind.AWAY if away else None
