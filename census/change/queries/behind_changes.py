"""The events that lie between two versions of one period."""

from collections import defaultdict
from typing import Any

from inventory.book.models import Flow, PeriodVersion


def events_between(old: PeriodVersion, new: PeriodVersion) -> dict[tuple[str, str], list[dict[str, Any]]]:
    """What was entered between the two closings and dated before the boundary, by taxon's name and unit.

    Each event once for a row, with who entered it and why. One query.
    """
    flows = (
        Flow.objects.filter(
            effective_at__lt=new.boundary, entered_at__gt=old.closed_at, entered_at__lte=new.closed_at
        )
        .select_related(
            "event__entered_by",
            "event__approved_by",
            "from_cell__lot__taxon",
            "to_cell__lot__taxon",
        )
        .order_by("event_id", "id")
    )
    found: dict[tuple[str, str], dict[int, dict[str, Any]]] = defaultdict(dict)
    for flow in flows:
        event = flow.event
        for lot in (flow.from_cell.lot, flow.to_cell.lot):
            row = found[lot.taxon.scientific_name, lot.unit]
            row.setdefault(
                event.pk,
                {
                    "event": event.pk,
                    "kind": event.kind,
                    "happened": event.happened,
                    "entered_by": event.entered_by.name,
                    "approved_by": event.approved_by.name if event.approved_by else "",
                    "reason": event.reason or event.cause or event.note,
                },
            )
    return {key: list(events.values()) for key, events in found.items()}
