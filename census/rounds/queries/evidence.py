"""The flows of the lots on differing lines, as evidence."""

from collections import defaultdict
from collections.abc import Sequence

from django.db.models import Q
from django.utils.timezone import get_current_timezone

from census.differences.rules.facts import Passage
from inventory.book.models import Cell, Event, Flow
from inventory.book.rules.happened import start_of_day
from inventory.book.rules.kinds import EventKind

from ..models import Census
from .reading import Row

# What changes a number by decision; each has a reason and, above a limit, an approval.
_BY_DECISION = (EventKind.UNACCOUNTED, EventKind.FOUND)


def passages_of(census: Census, rows: Sequence[Row]) -> dict[tuple[int, int], list[Passage]]:
    """Flows of the rows' lots in the period, or entered in it, by (lot, place). Two queries.

    The cells are asked first: an OR over two joined tables leaves a database without statistics no index.
    """
    lots = {lot.pk for row in rows for part in row.parts for lot in part.lots}
    since = start_of_day(census.period.starts_on, get_current_timezone())
    cells = list(Cell.objects.filter(lot__in=lots).values_list("pk", flat=True))
    flows = (
        Flow.objects.filter(Q(from_cell__in=cells) | Q(to_cell__in=cells))
        .filter(Q(effective_at__gte=since) | Q(entered_at__gte=since))
        .filter(event__reverses__isnull=True, event__reversed_by__isnull=True)
        .select_related("event__entered_by", "from_cell__account__place", "to_cell__account__place")
        .order_by("entered_at", "id")
    )
    found: dict[tuple[int, int], list[Passage]] = defaultdict(list)
    for flow in flows:
        for cell, other, sign in ((flow.from_cell, flow.to_cell, -1), (flow.to_cell, flow.from_cell, 1)):
            if cell.account.place_id is not None:
                found[cell.lot_id, cell.account.place_id].append(_passage(flow, cell, other, sign))
    return found


def _passage(flow: Flow, cell: Cell, other: Cell, sign: int) -> Passage:
    event = flow.event
    elsewhere = other.account.place if other.account_id != cell.account_id else None
    bare = event.kind in _BY_DECISION and not event.reason and event.approved_by_id is None
    return Passage(
        lot=cell.lot_id,
        kind=event.kind,
        n=sign * flow.n,
        happened_at=flow.effective_at,
        entered_at=flow.entered_at,
        entered_by=event.entered_by.name,
        words=_words(event, flow),
        event=str(event.identifier),
        other_place=elsewhere.code if elsewhere else "",
        unfounded=bare,
    )


def _words(event: Event, flow: Flow) -> str:
    start, end = flow.from_cell.account, flow.to_cell.account
    happened = event.happened.replace("T", " ").replace("/", " to ")
    way = f" {start.place.code} to {end.place.code}" if start.place and end.place and start != end else ""
    return f"{flow.n} {event.kind.replace('_', ' ')}{way}, {happened}"
