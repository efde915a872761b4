"""Where rows wait between reading and posting: a file of their own, so that memory stays small.

Events must be posted in the order in which they take effect, and their rows may stand anywhere in
the file: something has to sort them. A temporary SQLite database does so on the disk.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from datetime import datetime
from itertools import groupby
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

_BEFORE_ALL = -(1 << 62)


class EventHead(NamedTuple):
    """What all rows of one event say alike. ``happened`` and ``entered`` are ISO 8601 text."""

    kind: str
    happened: str
    entered: str = ""
    entered_by: str = ""
    party: str = ""
    permit: str = ""
    cause: str = ""
    reason: str = ""
    reverses: str = ""
    note: str = ""
    at_least: int | None = None
    at_most: int | None = None


class EventLine(NamedTuple):
    """What each row of an event says for itself."""

    accession: str = ""
    place: str = ""
    to_place: str = ""
    to_accession: str = ""
    males: int = 0
    females: int = 0
    hermaphrodites: int = 0
    unknown: int = 0
    stage: str = ""
    to_stage: str = ""
    from_sex: str = ""
    to_sex: str = ""


class SpooledEvent(NamedTuple):
    """One event with its rows: (row number, line)."""

    ref: str
    row: int
    head: EventHead
    lines: list[tuple[int, EventLine]]


_HEAD = ", ".join(EventHead._fields)
_LINE = ", ".join(EventLine._fields)
_SCHEMA = f"""
PRAGMA journal_mode = OFF;
PRAGMA synchronous = OFF;
PRAGMA cache_size = -16000;
PRAGMA temp_store = FILE;
CREATE TABLE lot (row INTEGER PRIMARY KEY, accession TEXT, name TEXT, kind TEXT, unit TEXT,
                  owner TEXT, house_name TEXT, marks TEXT);
CREATE UNIQUE INDEX lot_once ON lot (accession);
CREATE TABLE event (ref TEXT PRIMARY KEY, row INTEGER, {_HEAD},
                    moment INTEGER, rank INTEGER, beside INTEGER, turn INTEGER DEFAULT 0);
CREATE TABLE line (row INTEGER PRIMARY KEY, ref TEXT, {_LINE});
CREATE TABLE spoiled (ref TEXT PRIMARY KEY);
"""


class Spool:
    """Rows of one load. Close it: the file goes with it."""

    def __init__(self) -> None:
        self._folder = TemporaryDirectory(prefix="load-")
        self._database = sqlite3.connect(Path(self._folder.name) / "spool.sqlite3", isolation_level=None)
        self._database.executescript(_SCHEMA)
        self._database.execute("BEGIN")

    def close(self) -> None:
        """Removes the file."""
        self._database.close()
        self._folder.cleanup()

    def add_lot(self, row: int, values: Sequence[str | None]) -> int:
        """Takes a row of the sheet lots; returns the earlier row with the same number, or 0."""
        marks = ", ".join("?" * len(values))
        added = self._database.execute(f"INSERT OR IGNORE INTO lot VALUES (?, {marks})", (row, *values))
        return 0 if added.rowcount else self._one("SELECT row FROM lot WHERE accession = ?", values[0])[0]

    def lots(self) -> Iterator[tuple[Any, ...]]:
        """(row, and its values) in the order of the sheet."""
        return iter(self._database.execute("SELECT * FROM lot ORDER BY row"))

    def add_event_row(
        self, row: int, ref: str, head: EventHead, line: EventLine | None, *, moment: datetime, rank: int
    ) -> tuple[int, EventHead]:
        """Takes a row of the sheet events; returns the first row of its event, and what that one says.

        ``moment`` and ``rank`` say when it is posted: the smaller first.
        """
        values = (ref, row, *head, int(moment.timestamp() * 1_000_000), rank, row)
        marks = ", ".join("?" * len(values))
        added = self._database.execute(
            f"INSERT OR IGNORE INTO event (ref, row, {_HEAD}, moment, rank, beside) VALUES ({marks})", values
        )
        if line is not None:
            marks = ", ".join("?" * (2 + len(line)))
            self._database.execute(f"INSERT INTO line VALUES ({marks})", (row, ref, *line))
        if added.rowcount:
            return row, head
        first, *said = self._one(f"SELECT row, {_HEAD} FROM event WHERE ref = ?", ref)
        return first, EventHead(*said)

    def spoil(self, ref: str) -> None:
        """Leaves the event out when the others are posted: one of its rows cannot be read."""
        self._database.execute("INSERT OR IGNORE INTO spoiled VALUES (?)", (ref,))

    def people(self) -> list[str]:
        """Who entered the events, each once."""
        return [name for (name,) in self._database.execute("SELECT DISTINCT entered_by FROM event")]

    def event_count(self) -> int:
        """Events that will be posted."""
        return int(self._one("SELECT count(*) FROM event WHERE ref NOT IN (SELECT ref FROM spoiled)")[0])

    def events(self) -> Iterator[SpooledEvent]:
        """Events in the order in which they are posted, those with a row that cannot be read left out.

        A reversal follows what it takes back at once: what came later was then entered in the light
        of it. Where it takes back an event that is not in the file, and so is in the book, it comes
        before all others.
        """
        self._place_reversals()
        rows = self._database.execute(
            f"SELECT event.ref, event.row, {_HEAD}, line.row, {_LINE} "
            "FROM event LEFT JOIN line ON line.ref = event.ref "
            "WHERE event.ref NOT IN (SELECT ref FROM spoiled) "
            "ORDER BY moment, rank, beside, turn, event.row, line.row"
        )
        split = 2 + len(EventHead._fields)
        for (ref, row), group in groupby(rows, key=lambda found: found[:2]):
            together = list(group)
            lines = [
                (found[split], EventLine(*found[split + 1 :]))
                for found in together
                if found[split] is not None
            ]
            yield SpooledEvent(ref, row, EventHead(*together[0][2:split]), lines)

    def _place_reversals(self) -> None:
        self._database.execute("CREATE INDEX IF NOT EXISTS line_of_event ON line (ref)")
        self._database.execute(
            "UPDATE event SET turn = 1, moment = coalesce("
            "  (SELECT other.moment FROM event AS other WHERE other.ref = event.reverses), ?),"
            " rank = coalesce((SELECT other.rank FROM event AS other WHERE other.ref = event.reverses), 0),"
            " beside = coalesce((SELECT other.row FROM event AS other WHERE other.ref = event.reverses), row)"
            " WHERE kind = 'reversed'",
            (_BEFORE_ALL,),
        )

    def _one(self, query: str, *values: object) -> tuple[Any, ...]:
        found: tuple[Any, ...] = self._database.execute(query, values).fetchone()
        return found
