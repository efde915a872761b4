"""The sheets that a person has to count, as a device keeps them: made of blind sheets only, without a count.

Not even what the person wrote is in it: a device is held by many.
"""

from collections.abc import Iterable
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from inventory.people.models import Person
from inventory.tankside.rules.words import letters_of

from ..models import Count, Line, Recount, Sheet
from ..rules.hints import hints
from ..rules.states import SHEETS_OPEN, SHEETS_REPLACED
from ..rules.words import SACFOR, SACFOR_WORDS, SheetForm, SheetState
from .blind import BlindLine, BlindSheet, blind_sheets
from .running import DONE
from .settings import settings_in_use

_FIRST = (SheetState.ISSUED.value, SheetState.STARTED.value)
_OPEN = [state.value for state in SHEETS_OPEN]
_NOT_OUT = [SheetState.NOT_ISSUED.value, *(state.value for state in SHEETS_REPLACED)]


def sheets_for(person: Person) -> dict[str, Any]:
    """Every sheet that waits for ``person``, with the words to choose from. A constant number of queries."""
    running = Sheet.objects.exclude(census__state__in=DONE).select_related("place", "census")
    running = running.exclude(form=SheetForm.LETTER.value)
    first = running.filter(counters=person, state__in=_FIRST).order_by("number")
    found = list(_told(first, 1, person))
    for round_ in (2, 3):
        found += _told(_again(running, round_, person), round_, person)
    return {
        "sheets": found,
        "letters": [{"letter": letter, "words": SACFOR_WORDS[letter]} for letter in SACFOR],
        "passes_wanted": settings_in_use().passes_min_class_c,
    }


def _again(sheets: QuerySet[Sheet], round_: int, person: Person) -> QuerySet[Sheet]:
    """Sheets with lines that ``person`` counts again, or class A that waits for the second counter."""
    counted = Count.objects.filter(line=OuterRef("line"), round=round_)
    asked = Recount.objects.filter(of=person, round=round_)
    asked = asked.filter(Q(line__sheet__state__in=_OPEN) | ~Exists(counted))
    chosen = Q(pk__in=asked.values("line__sheet"))
    if round_ == 2:
        chosen |= Q(pk__in=_second(person).values("sheet"))
    return sheets.filter(chosen).exclude(state__in=_NOT_OUT).order_by("number")


def _second(person: Person) -> QuerySet[Line]:
    others = Count.objects.filter(line=OuterRef("pk"), round=1).exclude(counter=person)
    mine = Count.objects.filter(line=OuterRef("pk"), round=1, counter=person)
    again = Count.objects.filter(line=OuterRef("pk"), round=2)
    return Line.objects.filter(
        Exists(others), ~Exists(mine), ~Exists(again), count_class="A", sheet__counters=person
    )


def _told(sheets: Iterable[Sheet], round_: int, person: Person) -> list[dict[str, Any]]:
    chosen = list(sheets)
    blind = blind_sheets(chosen, round=round_, person=person)
    return [_sheet(sheet, one) for sheet, one in zip(chosen, blind, strict=True) if one.lines or round_ == 1]


def _sheet(sheet: Sheet, blind: BlindSheet) -> dict[str, Any]:
    lines = blind.lines
    return {
        "number": blind.number,
        "census": sheet.census.code,
        "place": blind.place,
        "place_name": blind.place_name,
        "round": blind.round,
        "list_version": blind.list_version,
        "counters": list(blind.counters),
        "hints": hints(
            round_=blind.round,
            windows_=blind.windows,
            joined=any(line.joined for line in lines),
            classes=[line.count_class for line in lines],
            units=[line.unit for line in lines],
            roll_call=any(line.individuals for line in lines),
        ),
        "lines": [_line(line) for line in lines],
    }


def _line(line: BlindLine) -> dict[str, Any]:
    return {
        "line": line.number,
        "place": line.place,
        "name": line.name,
        "common_name": line.common_name,
        "letters": letters_of(line.name),
        "picture_url": None,
        "unit": line.unit,
        "count_class": line.count_class,
        "asks": "letter" if line.presence else "roll-call" if line.individuals else "number",
        "marks": line.marks,
        "joined": line.joined,
        "sexed": line.sexed,
        "counted": line.mine is not None,
        "individuals": [{"accession": one.accession, "words": one.words} for one in line.individuals],
    }
