"""Counts that devices sent and that were refused: who counted what, and why it was not taken."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from ..models import CountEntry
from ..rules.words import SACFOR_WORDS


@dataclass(frozen=True, slots=True)
class CameBack:
    """One entry in words. ``lines``: (what, number) of each line as it was sent; none if unreadable."""

    entry: CountEntry
    sheet: str
    lines: list[tuple[str, str]]
    why: list[str]


def waiting() -> QuerySet[CountEntry]:
    """Entries that came back, that nobody sent corrected and nobody answered; the oldest first."""
    later = CountEntry.objects.filter(
        Q(replaces=OuterRef("identifier")) | Q(identifier=OuterRef("identifier"), came_back=False)
    )
    return (
        CountEntry.objects.filter(~Exists(later), came_back=True, came_back_answer=None)
        .select_related("person", "device", "sheet__census", "sheet__place")
        .order_by("received_at", "id")
    )


def came_back() -> list[CameBack]:
    """All that wait, in words. One query."""
    return [_told(entry) for entry in waiting()]


def answered(upto: int = 20) -> QuerySet[CountEntry]:
    """The newest of those that were answered, with their answer."""
    done = CountEntry.objects.filter(came_back_answer__isnull=False)
    related = ("person", "device", "sheet", "came_back_answer__by")
    return done.select_related(*related).order_by("-came_back_answer__id")[:upto]


def _told(entry: CountEntry) -> CameBack:
    body = entry.body if isinstance(entry.body, dict) else {}
    lines = [
        (_named(line, key), _number(line))
        for key in ("lines", "written_in")
        for line in _listed(body.get(key))
    ]
    problems = entry.answer.get("problems", []) if isinstance(entry.answer, dict) else []
    sheet = entry.sheet.number if entry.sheet else str(body.get("sheet", ""))[:30]
    return CameBack(entry, sheet, lines, [str(one.get("words", "")) for one in problems])


def _listed(value: Any) -> list[Mapping[str, Any]]:
    """What came is not trusted to be what was asked for."""
    return [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []


def _named(line: Mapping[str, Any], key: str) -> str:
    return f"written in, {line.get('name', '')}"[:200] if key == "written_in" else f"line {line.get('line')}"


def _number(line: Mapping[str, Any]) -> str:
    """The number as it was sent, in words."""
    told = []
    if line.get("value") is not None:
        told.append(f"{'at least ' if line.get('at_least') else ''}{line['value']}")
    if line.get("passes"):
        told.append(f"passes {', '.join(str(one) for one in line['passes'])}")
    if line.get("letter"):
        told.append(f"{line['letter']}, {SACFOR_WORDS.get(str(line['letter']), '')}")
    sexes = line.get("sexes")
    if isinstance(sexes, dict):
        told.append(", ".join(f"{n} {sex}" for sex, n in sexes.items()))
    seen = line.get("seen")
    if isinstance(seen, dict):
        told.append(", ".join(f"{lot} {words}" for lot, words in seen.items()))
    if line.get("remark"):
        told.append(str(line["remark"]))
    return "; ".join(told) or "nothing"
