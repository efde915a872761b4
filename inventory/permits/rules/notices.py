"""When a death or an absence has to be told to the authority, and what the notice says."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from inventory.book.rules.kinds import EventKind


class Told(StrEnum):
    """What became of a notice."""

    SENT = "sent"
    NOT_NEEDED = "not_needed"

    @property
    def words(self) -> str:
        """For a list to choose from."""
        return {"sent": "sent to the authority", "not_needed": "not needed"}[self.value]


# What is told as a death whatever the permit says of animals that are not found.
DEATHS = (EventKind.DIED, EventKind.PUT_DOWN)
ABSENCES = (EventKind.MISSING, EventKind.UNACCOUNTED)
KIND_WORDS = {
    EventKind.DIED: "died",
    EventKind.PUT_DOWN: "put down",
    EventKind.MISSING: "not found",
    EventKind.UNACCOUNTED: "written off, not found",
}


@dataclass(frozen=True, slots=True)
class Asks:
    """What a permit asks to be told: within how many days of finding, and whether absences too."""

    days: int
    absences: bool

    def wants(self, kind: EventKind) -> bool:
        """True when an event of this kind is to be told."""
        return kind in DEATHS or (self.absences and kind in ABSENCES)


def asks(*, days: int | None, absences: bool, protected: bool, default_days: int) -> Asks | None:
    """What is to be told; none: nothing.

    The permit's own days stand first. A permit that wants absences told and states no days, and a kind of
    animal that a list of protected animals names, have the house's number.
    """
    if days is not None:
        return Asks(days, absences)
    return Asks(default_days, absences) if absences or protected else None


def due_on(found_on: date, days: int) -> date:
    """The last day for telling. The day of finding is day 0: whatever is entered late is due no later."""
    return found_on + timedelta(days=days)


@dataclass(frozen=True, slots=True)
class Facts:
    """All that a notice says."""

    house: str
    licence: str
    authority: str
    permit: str
    holder: str
    line: str
    name: str
    n: int
    unit: str
    kind: EventKind
    found: str
    lot: str
    marks: str
    cause: str
    entered: str
    by: str


def text_of(facts: Facts) -> str:
    """The notice, filled in. Who sends it may change the words; what was sent is what is kept."""
    what = KIND_WORDS[facts.kind]
    unit = facts.unit if facts.n == 1 else plural(facts.unit)
    rows = [
        ("Permit", f"{facts.permit}, holder {facts.holder}"),
        ("Line of the permit", facts.line),
        ("Species", facts.name),
        ("Number", f"{facts.n} {unit}"),
        ("What happened", what),
        ("Found", facts.found),
        ("Our record", facts.lot),
        ("Marks", facts.marks),
        ("Cause, as far as known", facts.cause or "not known yet"),
        ("Entered in our book", facts.entered),
    ]
    body = "\n".join(_told(rows))
    licence = f" (licence {facts.licence})" if facts.licence else ""
    return (
        f"To: {facts.authority}\n\nNotice under permit {facts.permit}\n\n{body}\n\n"
        f"{facts.by}\n{facts.house}{licence}\n"
    )


def _told(rows: Iterable[tuple[str, str]]) -> Iterable[str]:
    return (f"{heading}: {words}" for heading, words in rows if words)


def plural(unit: str) -> str:
    """ "animals", "colonies\""""
    return f"{unit[:-1]}ies" if unit.endswith("y") else f"{unit}s"
