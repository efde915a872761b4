"""How people slip: entries made twice, and entries put right by the registrar."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from random import Random

from inventory.book.rules.kinds import EventKind

from .fixtures import Background, Row

REGISTRAR = "Maren Tolvsund"
CURATOR = "Dr Osric Fennadale"


def with_slips(
    rows: Sequence[Row], *, fit: Collection[str], background: Background, rng: Random
) -> list[Row]:
    """``rows`` with some doubled or first typed wrong, each put right within two days.

    ``fit`` names the refs that may slip: their lots hold enough to bear it for a day.
    """
    candidates = [row for row in rows if row.ref in fit]
    doubled = rng.sample(candidates, len(rows) // background.entries_to_a_double)
    chosen = {row.ref for row in doubled}
    rest = [row for row in candidates if row.ref not in chosen]
    mistyped = rng.sample(rest, len(rows) // background.entries_to_a_correction)
    result = list(rows)
    for row in doubled:
        again = replace(row, ref=f"{row.ref}-again", entered=_later(row.entered, minutes=1))
        result += [again, _taken_back(again, "double entry", hours=26)]
    for row in mistyped:
        result.remove(row)
        wrong = replace(row, ref=f"{row.ref}-mistyped", unknown=row.unknown + 1)
        undone = _taken_back(wrong, "typing", hours=22)
        right = replace(row, entered=_later(undone.entered, minutes=2), entered_by=REGISTRAR)
        result += [wrong, undone, right]
    return result


def _taken_back(row: Row, reason: str, *, hours: int) -> Row:
    entered = _later(row.entered, minutes=60 * hours)
    return Row(
        ref=f"{row.ref}-back",
        kind=EventKind.REVERSED.value,
        happened=entered[:10],
        entered=entered,
        entered_by=REGISTRAR,
        reverses=row.ref,
        reason=reason,
        approved_by=CURATOR,
    )


def _later(moment: str, *, minutes: int) -> str:
    return (datetime.fromisoformat(moment) + timedelta(minutes=minutes)).isoformat(timespec="minutes")
