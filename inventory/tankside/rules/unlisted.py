"""Animals on no list: how many, which one was meant, whom the answer concerns, what it fills in. Pure."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from inventory.book.rules.abundance import ABUNDANCE
from inventory.book.rules.found_as import FOLLOWS_AS, FoundAs
from inventory.book.rules.happened import parse_happened
from inventory.book.rules.kinds import EventKind

from .stated import Stated, Trouble
from .words import letters_of

# Law differs from place to place; in the European Union it is Regulation (EU) No 1143/2014 on invasive alien
# species, whose articles 7, 16 and 17 are on keeping and release, early reports and measures (from memory).
CAUTION = (
    "Introduced species: check local rules before anything is done with one. To release it, to move it or to "
    "keep it may be forbidden, and some have to be reported at once or held in quarantine. This page records "
    "who said what, and decides nothing."
)


@dataclass(frozen=True, slots=True)
class Before:
    """The answer that a new one stands for, whether it was for the permit officer, and seen."""

    found_as: FoundAs
    concerned: bool
    seen: bool


def concerns_permit_officer(found_as: FoundAs, before: Before | None = None) -> bool:
    """An introduced species does, and so does the word that it is none after all.

    Whoever was told of one may have reported it; that is heard once more, and then no more.
    """
    if found_as is FoundAs.INTRODUCED:
        return True
    if before is None or not before.concerned:
        return False
    return before.found_as is FoundAs.INTRODUCED or not before.seen


# What a device writes; entries of older pages tell their number here only.
_WRITTEN = re.compile(r"Not on the list: (\d{1,6}),")
_WORD = re.compile(r"\w+")


def in_place_of_a_number(entry: Stated) -> list[Trouble]:
    """What is wrong with the letter of an entry, or with its abundance; not asked where neither stands."""
    field = "letter" if entry.letter else "abundance"
    if not entry.unlisted:
        return [Trouble(field, "only of an animal that is on no list; elsewhere say how many")]
    if entry.letter and entry.abundance:
        return [Trouble(field, "either the letter of one animal or how abundant they are, not both")]
    if entry.numbers.total:
        return [Trouble(field, "either a number or what stands in its place, not both")]
    return []


def number_written(body: Mapping[str, Any]) -> int | None:
    """How many animals an entry tells of, by its ``body`` as it was sent; None where nobody counted them.

    A letter stands for the one animal that bears it.
    """
    if body.get("letter"):
        return 1
    if body.get("abundance"):
        return None
    stated = sum(body.get("numbers", {}).values())
    written = _WRITTEN.match(body.get("note", ""))
    return stated or (int(written[1]) if written else None)


def how_many_written(body: Mapping[str, Any]) -> str:
    """ "2", "the one marked B", "C, common"; "" where nothing was said."""
    if letter := body.get("letter"):
        return f"the one marked {letter}"
    if abundance := body.get("abundance"):
        return f"{abundance}, {ABUNDANCE[abundance]}"
    number = number_written(body)
    return "" if number is None else str(number)


def bears(letter: str, *, marks: str, house_name: str, scientific_name: str) -> bool:
    """Whether somebody may have meant an animal by this letter.

    It stands among its marks, is its name or the first letters of its name, or the letters that a device
    shows for its kind.
    """
    asked = letter.casefold()
    initials = "".join(word[0] for word in _WORD.findall(house_name))
    known = (marks, *_WORD.findall(marks), house_name, initials, letters_of(scientific_name))
    return asked in {one.casefold() for one in known if one}


# As long as the form's note may be.
LONGEST_NOTE = 2_000


def for_the_form(
    body: Mapping[str, Any], *, found_as: FoundAs, place: str, saved: datetime, found: str
) -> dict[str, str]:
    """What the form of an event takes over of an entry: its number, place, day, hour and words.

    ``saved`` is of the house's own time, and counts where the entry does not say when it happened; ``found``
    is the registrar's sentence. What moved is written in where it went to: from where is not known.
    """
    day, hour = _when(str(body.get("happened") or ""), saved)
    number = number_written(body)
    words = "; ".join(part for part in (str(body.get("note", "")), found) if part)
    return {
        "to_place" if FOLLOWS_AS.get(found_as) is EventKind.MOVED else "place": place,
        "day": day,
        "time": hour,
        "unknown": "" if number is None else str(number),
        "note": words[:LONGEST_NOTE],
    }


def _when(stated: str, saved: datetime) -> tuple[str, str]:
    """Day and hour; of an interval its last day, for the form holds one moment. A day has no hour."""
    moment: date = saved
    if stated:
        try:
            happened = parse_happened(stated)
        except ValueError:
            # Of a note it is kept as it was sent.
            return _when("", saved)
        moment = happened.end if happened.start == happened.end else happened.day
    hour = f"{moment:%H:%M}" if isinstance(moment, datetime) else ""
    return f"{moment:%Y-%m-%d}", hour
