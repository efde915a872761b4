"""The kinds of entry, and which event each becomes. Pure."""

from enum import StrEnum

from inventory.book.rules.kinds import EventKind


class EntryKind(StrEnum):
    """What can be entered at the tank side. The only list."""

    DIED = "died"
    PUT_DOWN = "put_down"
    MISSING = "missing"
    SEEN_AGAIN = "seen_again"
    MOVED = "moved"
    BORN = "born"
    HATCHED = "hatched"
    DIVIDED = "divided"
    SETTLED = "settled"
    FOUND = "found"
    ARRIVED = "arrived"
    SEXED = "sexed"
    STAGED = "staged"
    EGGS = "eggs"
    NOTE = "note"
    READING = "reading"
    SLIP = "slip"
    UNDO = "undo"


# The event that the book gets. Notes, readings and slips are none; an undo takes one back.
EVENT_OF: dict[EntryKind, EventKind] = {
    EntryKind.DIED: EventKind.DIED,
    EntryKind.PUT_DOWN: EventKind.PUT_DOWN,
    EntryKind.MISSING: EventKind.MISSING,
    EntryKind.SEEN_AGAIN: EventKind.SEEN_AGAIN,
    EntryKind.MOVED: EventKind.MOVED,
    EntryKind.BORN: EventKind.BORN,
    EntryKind.HATCHED: EventKind.BORN,
    EntryKind.DIVIDED: EventKind.DIVIDED,
    EntryKind.SETTLED: EventKind.SETTLED,
    EntryKind.FOUND: EventKind.FOUND,
    EntryKind.ARRIVED: EventKind.RECEIVED,
    EntryKind.SEXED: EventKind.REGROUPED,
    EntryKind.STAGED: EventKind.REGROUPED,
    EntryKind.EGGS: EventKind.BORN,
}
# Where the species may be left open.
OPEN_NAMES = frozenset({EntryKind.DIED, EntryKind.PUT_DOWN, EntryKind.MISSING})
# Where a body may be left.
BODIES = frozenset({EntryKind.DIED, EntryKind.PUT_DOWN})
# What takes animals that the book should hold.
TAKES = frozenset({EntryKind.DIED, EntryKind.PUT_DOWN, EntryKind.MISSING, EntryKind.MOVED})

# Whose number may be a best value between bounds: eggs and young.
RANGED = frozenset({EntryKind.BORN, EntryKind.HATCHED, EntryKind.EGGS})

SAID: dict[EntryKind, str] = {
    EntryKind.DIED: "dead",
    EntryKind.PUT_DOWN: "put down",
    EntryKind.MISSING: "missing",
    EntryKind.SEEN_AGAIN: "seen again",
    EntryKind.MOVED: "moved",
    EntryKind.BORN: "born",
    EntryKind.HATCHED: "hatched",
    EntryKind.DIVIDED: "more by division",
    EntryKind.SETTLED: "settled from sea water",
    EntryKind.FOUND: "found",
    EntryKind.ARRIVED: "arrived",
    EntryKind.SEXED: "sexed",
    EntryKind.STAGED: "of another stage",
    EntryKind.EGGS: "laid",
    EntryKind.NOTE: "note",
    EntryKind.READING: "reading",
    EntryKind.SLIP: "field slip",
    EntryKind.UNDO: "undone",
}
