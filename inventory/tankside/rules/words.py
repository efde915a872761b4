"""What the tank side says back: confirmations in words. Pure."""

from dataclasses import dataclass
from datetime import date, datetime

from inventory.book.rules import ranges
from inventory.book.rules.happened import Happened
from inventory.book.rules.words import count_of

from .kinds import SAID, EntryKind
from .stated import Stated

_FOLD = str.maketrans({"(": None, ")": None})


@dataclass(frozen=True, slots=True)
class Named:
    """What the words need beyond the entry: names of animal and places, unit, and which day is today."""

    animal: str
    unit: str
    individual: bool
    place: str
    to_place: str = ""
    today: date | None = None


def confirmation(entry: Stated, named: Named, happened: Happened) -> str:
    """ "2 dead, two-spotted goby, Kelp Hall, 08:10"."""
    parts = [_what(entry, named), named.animal]
    if entry.kind is EntryKind.MOVED:
        parts.append(f"{named.place} to {named.to_place}")
    else:
        parts.append(named.place)
    parts.append(when(happened, today=named.today))
    return ", ".join(part for part in parts if part)


def _what(entry: Stated, named: Named) -> str:
    """ "2 dead"; "1 egg case laid"; "about 40, between 30 and 60, hatched"; "3 now male".

    For one that has a name only what happened.
    """
    said = SAID[entry.kind]
    if entry.kind is EntryKind.SEXED:
        said = f"now {entry.to_sex}"
    elif entry.kind is EntryKind.STAGED:
        said = f"now {entry.to_stage}"
    if entry.dead_on_arrival:
        return _arrived(entry, named)
    if named.individual:
        return said
    n = entry.numbers.total
    number = str(n) if named.unit == "animal" else count_of(n, named.unit)
    if entry.bounds is not None:
        return f"{ranges.in_words(number, entry.bounds)}, {said}"
    return f"{number} {said}"


def _arrived(entry: Stated, named: Named) -> str:
    """ "5 arrived alive, 7 dead on arrival"; "12 arrived, all dead on arrival"."""
    alive, dead = entry.numbers.total, entry.dead_on_arrival
    number = str(alive or dead) if named.unit == "animal" else count_of(alive or dead, named.unit)
    if alive:
        return f"{number} arrived alive, {dead} dead on arrival"
    return f"{number} arrived, {'all ' if dead > 1 else ''}dead on arrival"


def when(happened: Happened, *, today: date | None = None) -> str:
    """ "08:10", "3 October, 08:10", "3 October"; of an interval its end."""
    end = happened.end
    day = happened.day
    said = (
        []
        if day == today
        else [f"{day.day} {day:%B}" + ("" if today and day.year == today.year else f" {day.year}")]
    )
    if isinstance(end, datetime):
        said.append(f"{end:%H:%M}")
    return ", ".join(said) or "today"


def letters_of(scientific_name: str) -> str:
    """Plain letters in place of a picture: "PF" for *Pomatoschistus flavescens*."""
    parts = [part for part in scientific_name.translate(_FOLD).split() if part[:1].isalpha()]
    return "".join(part[0] for part in parts[:2]).upper()
