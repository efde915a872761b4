"""Whether the book is still what it was when a figure was worked out."""

from datetime import datetime
from typing import NamedTuple

from django.db import connection, connections

from inventory.db.kept import opened_on

from ..rules.kinds import ARRIVALS, EventKind
from .quantities.sql import moment, out_of_index, rows

# A restored backup is another file on SQLite, and another database under the same name on PostgreSQL.
_DATABASE = {
    "sqlite": "NULL",
    "postgresql": "(SELECT CAST(oid AS bigint) FROM pg_database WHERE datname = current_database())",
}
_STATE = """
SELECT {database},
       (SELECT hash FROM book_event ORDER BY id DESC LIMIT 1),
       (SELECT MAX(id) FROM book_event),
       (SELECT MAX(id) FROM book_flow),
       (SELECT MAX(id) FROM book_periodversion),
       (SELECT SUM(n) FROM book_revision)
"""
_HASH = "SELECT hash FROM book_event WHERE id = %s"
_SINCE = f"""
SELECT ({_HASH}),
       EXISTS (SELECT 1 FROM book_flow f WHERE f.id > %s AND {{effective_at}} < %s)
"""


class BookState(NamedTuple):
    """Two equal states give equal answers to every question about quantities.

    The hash of the last event stands for all events and flows, for it is chained over them. Names and
    closings have numbers alone, which come again in a backup that was restored: so ``database`` says of which
    file or database it is.
    """

    database: object
    head: str | None
    event: int | None
    flow: int | None
    closing: int | None
    revision: int | None


def book_state() -> BookState:
    """The book as it is now. One query, a few seeks."""
    database, *state = rows(_STATE.format(database=_DATABASE[connection.vendor]), [])[0]
    return BookState(database or opened_on(connections["default"]), *state)


def unchanged_before(then: BookState, now: BookState, *, before: datetime) -> bool:
    """Whether nothing that counts before ``before`` has come between two states: only later flows.

    True where the same chain goes on, no closing was issued, no lot, place or taxon was changed, and every
    flow since is dated at or after ``before``. Entries take numbers under one lock, so that those with a
    higher number came later. At most one query.
    """
    if then == now:
        return True
    if not _may_go_on(then, now) or then.flow is None:
        return False
    # The newest flows by their number are few; all flows before a moment are not.
    sql = _SINCE.format(effective_at=out_of_index("f.effective_at"))
    head, touched = rows(sql, [then.event, then.flow, moment(before)])[0]
    return head == then.head and not touched


def goes_on(then: BookState, now: BookState) -> bool:
    """Whether nothing but events has come between two states: the same chain goes on, no closing was issued,
    no lot, place or taxon was changed. At most one query."""
    if then == now:
        return True
    return _may_go_on(then, now) and rows(_HASH, [then.event]) == [(then.head,)]


def _may_go_on(then: BookState, now: BookState) -> bool:
    """As far as the states tell: not whether the chain is the same."""
    if then.event is None or now.event is None or now.event < then.event:
        return False
    return (then.database, then.closing, then.revision) == (now.database, now.closing, now.revision)


# What can give a lot another source: an arrival, animals of another lot, and what takes either back.
_OF_SOURCES = (*ARRIVALS, EventKind.REGROUPED, EventKind.REVERSED)
_SOURCES_SINCE = f"""
SELECT EXISTS (SELECT 1 FROM book_event WHERE id > %s AND kind IN ({", ".join(["%s"] * len(_OF_SOURCES))}))
"""


def unchanged_sources(then: BookState, now: BookState) -> bool:
    """Whether every lot has the source that it had, told of its whole life: since ``then`` only such events
    came as change none, as deaths and moves. Of one chain that goes on, as :func:`unchanged_before` finds.
    At most one query.
    """
    if then == now:
        return True
    if then.event is None:
        return False
    return not rows(_SOURCES_SINCE, [then.event, *(str(kind) for kind in _OF_SOURCES)])[0][0]
