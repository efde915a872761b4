"""Flags that accepted events raise: what needs somebody's eye, with an owner."""

from collections.abc import Sequence
from datetime import datetime

from inventory.db.prepared import Prepared, Question
from inventory.people.models import House

from ..models import Event, Flag
from ..models.flags import FlagKind
from ..rules.running import FlowDraft
from .post_reading import Batch

_BELOW_ZERO = Prepared(
    lambda: Flag.objects.filter(settled_at=None, kind=FlagKind.BELOW_ZERO).values_list(
        "lot__accession", "place_id", "pk"
    )
)


def will_ask() -> Question | None:
    """What :func:`raise_and_settle` asks of every batch."""
    return _BELOW_ZERO.of()


def raise_and_settle(
    written: Sequence[tuple[Event, Sequence[FlowDraft]]], batch: Batch, *, now: datetime
) -> None:
    """Flags what went below zero and what lies in a closed period; settles what stands above again."""
    last_event = {
        (cell.lot, cell.account): event
        for event, flows in written
        for flow in flows
        for cell in (flow.from_cell, flow.to_cell)
        if cell.inside
    }
    below = {box: event for box, event in last_event.items() if batch.book.total(*box) < 0}
    late = [event for event, _ in written if batch.closed_at(event.effective_at)]
    owner = House.objects.values_list("registrar_id", flat=True).first() if below or late else None
    open_flags = _open_below_zero(batch, set(last_event))
    settled = [pk for box, pk in open_flags.items() if box not in below]
    if settled:
        Flag.objects.filter(pk__in=settled).update(settled_at=now)
    flags = [
        Flag(
            kind=FlagKind.BELOW_ZERO,
            event=event,
            lot_id=batch.lot_ids[lot],
            place_id=batch.place_ids[account],
            owner_id=owner or event.entered_by_id,
            raised_at=now,
        )
        for (lot, account), event in below.items()
        if (lot, account) not in open_flags
    ]
    flags += [
        Flag(kind=FlagKind.LATE_ENTRY, event=event, owner_id=owner or event.entered_by_id, raised_at=now)
        for event in late
    ]
    Flag.objects.bulk_create(flags, batch_size=1_000)


def _open_below_zero(batch: Batch, boxes: set[tuple[str, str]]) -> dict[tuple[str, str], int]:
    """Open flags on balances below zero, by (lot, account); only those that the batch touched."""
    accounts = {number: account for account, number in batch.place_ids.items()}
    found = {(lot, accounts.get(place, "")): pk for lot, place, pk in _BELOW_ZERO()}
    return {box: pk for box, pk in found.items() if box in boxes}
