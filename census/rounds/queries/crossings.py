"""Moves between two count moments: animals that were counted twice, or not at all, and rightly so."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F

from inventory.book.models import Flow
from inventory.book.rules.kinds import EventKind

from ..models import Line
from .reading import Row


@dataclass(frozen=True, slots=True)
class Crossing:
    """``n`` animals of ``name`` went from one tank to the other at ``moved_at``, between their counts.

    ``twice``: both counts have them; else neither has. Each count is right at its own moment, and the sum
    of the two is not.
    """

    name: str
    n: int
    start: Line
    end: Line
    moved_at: datetime
    twice: bool
    event: int


def crossings(rows: Sequence[Row]) -> list[Crossing]:
    """Every move after the count of one tank and before that of the other, in date order. One query."""
    counted = {
        (lot.pk, part.line.place_id): (part.latest.counted_at, part.line)
        for row in rows
        for part in row.parts
        if part.latest is not None
        for lot in part.lots
    }
    moments = [moment for moment, _ in counted.values()]
    if not moments:
        return []
    moves = (
        Flow.objects.filter(effective_at__gt=min(moments), effective_at__lte=max(moments), reversal=False)
        .filter(event__kind=EventKind.MOVED.value, event__reversed_by=None)
        .exclude(from_cell__account=F("to_cell__account"))
        .select_related("from_cell__account", "to_cell__account", "to_cell__lot__taxon")
        .order_by("effective_at", "id")
    )
    found = []
    for flow in moves:
        start = counted.get((flow.from_cell.lot_id, flow.from_cell.account.place_id or 0))
        end = counted.get((flow.to_cell.lot_id, flow.to_cell.account.place_id or 0))
        if start is None or end is None:
            continue
        at = flow.effective_at
        twice, neither = start[0] < at <= end[0], end[0] < at <= start[0]
        if twice or neither:
            name = flow.to_cell.lot.taxon.scientific_name
            found.append(Crossing(name, flow.n, start[1], end[1], at, twice, flow.event_id))
    return found
