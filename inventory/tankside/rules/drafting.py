"""Turns an entry into the event that the book gets. Pure; the book itself decides what can be."""

from dataclasses import dataclass
from datetime import datetime

from inventory.book.rules import ranges
from inventory.book.rules.drafts import DraftLine, EventDraft
from inventory.book.rules.happened import Happened
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.recording import NOT_KNOWN

from .kinds import EVENT_OF, OPEN_NAMES, RANGED, EntryKind
from .stated import ComesBack, Stated, Trouble
from .unlisted import in_place_of_a_number

LONGEST_CAUSE = 120


def check(entry: Stated) -> None:
    """What can be wrong with an entry whatever the book says. Raises :class:`ComesBack` with all of it."""
    troubles = []
    # What a slip kept may wait for the desk to say where it goes.
    if not entry.place and entry.kind is not EntryKind.SLIP:
        troubles.append(Trouble("place", "say which tank: scan its label or choose it"))
    if entry.kind in EVENT_OF:
        troubles += _of_an_event(entry)
    if entry.bounds is not None:
        may_be_one = entry.kind in RANGED
        found = ranges.problems(entry.numbers.total, entry.bounds, may_be_one=may_be_one)
        troubles += [Trouble(field, words) for field, words in found]
    if entry.kind is EntryKind.NOTE and not entry.note.strip():
        troubles.append(Trouble("note", "the note is empty"))
    if entry.letter or entry.abundance:
        troubles += in_place_of_a_number(entry)
    if entry.kind is EntryKind.UNDO and entry.undoes is None:
        troubles.append(Trouble("undoes", "say which entry is taken back"))
    if entry.kind is EntryKind.READING and entry.reading is None:
        troubles.append(Trouble("reading", "say what was measured, its value and its unit"))
    if troubles:
        raise ComesBack(*troubles)


def _of_an_event(entry: Stated) -> list[Trouble]:
    troubles = []
    if entry.open_name and entry.kind not in OPEN_NAMES:
        troubles.append(Trouble("open_name", "only what died, was put down or is missing may stay open"))
    if not entry.lot and not entry.open_name:
        troubles.append(Trouble("lot", "say which animal: choose it from the list of the tank"))
    if entry.lot and entry.open_name:
        troubles.append(Trouble("open_name", "either one animal of the list or an open name, not both"))
    if entry.dead_on_arrival and entry.kind is not EntryKind.ARRIVED:
        troubles.append(Trouble("dead_on_arrival", "only of what arrived"))
    if entry.numbers.total < 1 and not entry.dead_on_arrival:
        troubles.append(Trouble("numbers", "say how many: at least one"))
    if entry.kind is EntryKind.MOVED and not entry.to_place:
        troubles.append(Trouble("to_place", "say where they went"))
    if entry.kind is EntryKind.SEXED and not entry.to_sex:
        troubles.append(Trouble("to_sex", "say which sex they are"))
    if entry.kind is EntryKind.STAGED and not entry.to_stage:
        troubles.append(Trouble("to_stage", "say which stage they have reached"))
    if len(entry.cause) > LONGEST_CAUSE:
        troubles.append(Trouble("cause", f"longer than {LONGEST_CAUSE} characters: put it into the note"))
    return troubles


@dataclass(frozen=True, slots=True)
class Around:
    """What an entry does not say of itself: who, from which device, when, and the lot that stands for it."""

    author: str
    device: str
    happened: Happened
    entered_at: datetime | None
    lot: str


def draft(entry: Stated, around: Around) -> EventDraft:
    """The event of a checked entry, under the entry's own identifier."""
    line = DraftLine(
        lot=around.lot,
        place=entry.place,
        numbers=entry.numbers,
        stage="" if entry.kind is EntryKind.EGGS else entry.stage,
        to_place=entry.to_place if entry.kind is EntryKind.MOVED else "",
        from_sex=entry.from_sex if entry.kind is EntryKind.SEXED else "",
        to_sex=entry.to_sex if entry.kind is EntryKind.SEXED else "",
        to_stage=entry.to_stage if entry.kind is EntryKind.STAGED else "",
    )
    return EventDraft(
        identifier=entry.identifier,
        kind=EVENT_OF[entry.kind],
        happened=around.happened,
        entered_by=around.author,
        lines=(line,),
        ref=ref_of(around.device),
        entered_at=around.entered_at,
        device=around.device,
        cause=_cause(entry),
        reason=_reason(entry),
        note="; ".join(part for part in (entry.note, dead_on_arrival(entry)) if part),
        at_least=entry.at_least,
        at_most=entry.at_most,
    )


def dead_on_arrival(entry: Stated) -> str:
    """ "dead on arrival: 7", beside the animals that the event brings in; "" when none was."""
    return f"dead on arrival: {entry.dead_on_arrival}" if entry.dead_on_arrival else ""


def reversal(entry: Stated, around: Around, *, reason: str = "undone at the tank") -> EventDraft:
    """The event that takes another one back; ``entry.undoes`` is the identifier that both have."""
    return EventDraft(
        identifier=entry.identifier,
        kind=EventKind.REVERSED,
        happened=around.happened,
        entered_by=around.author,
        ref=ref_of(around.device),
        entered_at=around.entered_at,
        device=around.device,
        reason=reason,
        note=entry.note,
        reverses=entry.undoes,
    )


def ref_of(device: str) -> str:
    """How the book names what came from a device: "device Blue"."""
    return f"device {device}"


def _cause(entry: Stated) -> str:
    """A cause is a fact or not known; what is only suspected stands as a suspicion."""
    return (entry.cause or NOT_KNOWN) if entry.kind in (EntryKind.DIED, EntryKind.PUT_DOWN) else ""


def _reason(entry: Stated) -> str:
    if entry.suspicion:
        return f"suspected: {entry.suspicion}"[:LONGEST_CAUSE]
    if entry.kind is EntryKind.HATCHED:
        return "hatched"
    if entry.kind is EntryKind.EGGS:
        return "laid"
    if entry.kind is EntryKind.ARRIVED:
        return "arrived at the tank side; papers are entered by the registrar"
    return ""
