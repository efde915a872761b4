"""What is made of events of some kinds alone, remembered until another of them is entered."""

from collections.abc import Callable, Sequence
from threading import Lock
from typing import Any, Generic, TypeVar

from django.db import connection

from inventory.doors.once import once

from .sql import rows

Made = TypeVar("Made")


class OfKinds(Generic[Made]):
    """Calls ``read`` when an event of ``kinds`` has come since; nobody changes what it answers.

    Events are chained, so that the hash of the newest stands for all before it; each process remembers for
    itself. Inside a transaction nothing is remembered, for its events may be taken back. One query beside
    those of ``read``.
    """

    def __init__(self, kinds: Sequence[str], read: Callable[[], Made]) -> None:
        self._read = read
        self._kinds = tuple(str(kind) for kind in kinds)
        listed = ", ".join(["%s"] * len(kinds))
        self._newest = f"SELECT id, hash FROM book_event WHERE kind IN ({listed}) ORDER BY id DESC LIMIT 1"
        self._kept: dict[str, tuple[tuple[object, ...], Made]] = {}
        self._lock = Lock()

    def __call__(self) -> Made:
        if connection.in_atomic_block:
            return self._read()
        newest = _newest(self._newest, self._kinds)
        database = str(connection.settings_dict["NAME"])
        with self._lock:
            kept = self._kept.get(database)
        if kept is not None and newest and kept[0] == newest[0]:
            return kept[1]
        made = self._read()
        # What came while it was read is in it too, and it is read again for that.
        if newest:
            with self._lock:
                self._kept[database] = (newest[0], made)
        return made

    def forget(self) -> None:
        """Everything; for who measures."""
        with self._lock:
            self._kept.clear()


@once
def _newest(sql: str, kinds: tuple[str, ...]) -> list[tuple[Any, ...]]:
    return rows(sql, kinds)
