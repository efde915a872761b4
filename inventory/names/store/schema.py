"""Tables of one release's store, the same in a SQLite file and in PostgreSQL.

Everything that repeats is kept once and numbered: words, classifications, ranks and statuses. A
name is split into its first word, its second word and the rest, so that the names of a genus and
the names with an epithet lie together in an index. Statements are templates: ``{t}`` is what table
names begin with, ``{each}``, ``{pairs}``, ``{a}`` and ``{b}`` are how a database takes lists.
"""

from collections.abc import Iterable, Sequence
from typing import Any, Protocol

# Raised with every change of the tables; a store of another layout is not read but loaded again.
LAYOUT = 1

TABLES = {
    # One row of the core. id counts from 1 in file order; accepted_ref is what the file says.
    # first and second are numbers of words, 0 for none; a code that is no word stands in rest alone.
    "usage": (
        "id integer PRIMARY KEY, line integer NOT NULL, taxon_id text NOT NULL, accepted_ref text NOT NULL,"
        " canonical text NOT NULL, authorship text NOT NULL, rank integer NOT NULL, status integer NOT NULL,"
        " classification integer NOT NULL, first integer NOT NULL, second integer NOT NULL,"
        " rest text NOT NULL, remarks text NOT NULL"
    ),
    # A synonym's row and the row of the accepted name that it leads to in the end.
    "accepted": "id integer PRIMARY KEY, to_id integer NOT NULL",
    "term": "id integer PRIMARY KEY, word text NOT NULL",
    "classification": (
        "id integer PRIMARY KEY, kingdom text NOT NULL, phylum text NOT NULL, class_name text NOT NULL,"
        " order_name text NOT NULL, family text NOT NULL, genus text NOT NULL"
    ),
    "first_word": "id integer PRIMARY KEY, word text NOT NULL",
    "second_word": "id integer PRIMARY KEY, word text NOT NULL",
    "first_deletion": "hash integer NOT NULL, word integer NOT NULL, PRIMARY KEY (hash, word)",
    "second_deletion": "hash integer NOT NULL, word integer NOT NULL, PRIMARY KEY (hash, word)",
    "heard": (
        "id integer NOT NULL, line integer NOT NULL, ref text NOT NULL, key text NOT NULL,"
        " name text NOT NULL, language text NOT NULL, country text NOT NULL"
    ),
    "vernacular": (
        "id integer PRIMARY KEY, usage integer NOT NULL, key text NOT NULL, name text NOT NULL,"
        " language text NOT NULL, country text NOT NULL"
    ),
}

# Without a row number of their own: the key is all there is.
KEY_ONLY = frozenset({"first_deletion", "second_deletion"})

INDEXES = {
    "usage_taxon_id": "usage (taxon_id)",
    "usage_by_first": "usage (first, second, rest)",
    "usage_by_second": "usage (second, rest, first) WHERE second > 0",
    "accepted_to": "accepted (to_id)",
    "first_word_text": "first_word (word)",
    "second_word_text": "second_word (word)",
    "vernacular_key": "vernacular (key)",
    "vernacular_usage": "vernacular (usage)",
}


class Asked(Protocol):
    """A store that can be asked."""

    @property
    def a(self) -> str:
        """The first of a pair, in SQL."""

    def select(self, sql: str, *lists: Sequence[Any]) -> list[tuple[Any, ...]]:
        """All rows; ``{each}`` takes a list of values, ``{pairs}`` one of pairs; of an empty list, none."""


class Written(Asked, Protocol):
    """A store that is being built."""

    def create(self, table: str) -> None:
        """Makes an empty table of :data:`TABLES`."""

    def insert(self, table: str, rows: Iterable[Sequence[Any]]) -> None:
        """Adds rows, streaming."""

    def index(self, name: str) -> None:
        """Builds an index of :data:`INDEXES`."""

    def run(self, sql: str) -> int:
        """Runs a statement; the number of rows it touched."""

    def drop(self, table: str) -> None:
        """Takes a table away that only the building needed."""

    def roomy(self) -> None:
        """The memory of the reading is free again: sorting may use it."""

    def finish(self) -> None:
        """Gathers what the planner wants to know."""


def columns(table: str) -> list[str]:
    """Names of a table's columns, in order."""
    parts = TABLES[table].split(", PRIMARY KEY")[0].split(",")
    return [part.split()[0] for part in parts]
