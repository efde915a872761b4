"""The watch of a day, as long as the book is what it was: Today asks for it each time it is opened."""

from datetime import date, tzinfo
from threading import Lock

from django.db import connection

from inventory.book.queries.revision import BookState, book_state

from .watching import Watch, read_watch

_Key = tuple[BookState, date, str, str]
_newest: dict[str, tuple[_Key, Watch]] = {}
_lock = Lock()


def remembered_watch(today: date, *, zone: tzinfo) -> Watch:
    """The same answer as :func:`read_watch`; inside a transaction nothing is remembered."""
    if connection.in_atomic_block:
        return read_watch(today, zone=zone)
    database = str(connection.settings_dict["NAME"])
    key = (book_state(), today, str(zone), database)
    with _lock:
        kept = _newest.get(database)
    if kept is not None and kept[0] == key:
        return kept[1]
    found = read_watch(today, zone=zone)
    if book_state() == key[0]:
        with _lock:
            _newest[database] = (key, found)
    return found
