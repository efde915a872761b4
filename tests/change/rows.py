"""A small book written straight into the tables, so that reading is tested apart from writing.

The database's own trigger keeps the cached balances. Everything is invented.
"""

from datetime import datetime, tzinfo
from itertools import count
from uuid import uuid4

from django.utils import timezone

from inventory.book.models import Account, Cell, Event, Flow, Lot, LotKind, Place
from inventory.book.rules.happened import parse_happened, parse_moment
from inventory.book.rules.kinds import ARRIVALS
from inventory.people.models import Person

_number = count(1)


def _next_id() -> int:
    last = Event.objects.order_by("-pk").values_list("pk", flat=True).first()
    return (last or 0) + 1


class Book:
    """Writes events of one flow each; days are texts in the house's zone."""

    def __init__(self, zone: tzinfo | None = None) -> None:
        self.zone = zone or timezone.get_current_timezone()
        self.person = Person.objects.create(name=f"Writer {next(_number)}")
        self.outside = {a.cause: a for a in Account.objects.filter(place__isnull=True)}

    def cell(
        self,
        lot: Lot,
        where: Place | str,
        sex: str = "unknown",
        standing: str = "present",
        stage: str = "",
    ) -> Cell:
        """The cell of ``lot`` in a place, or in the outside account of a cause."""
        account = self.outside[where] if isinstance(where, str) else Account.objects.get(place=where)
        inside = not isinstance(where, str)
        return Cell.objects.get_or_create(
            lot=lot,
            account=account,
            sex=sex,
            stage=stage,
            standing=standing,
            defaults={"inside": inside, "capped": inside and lot.kind == LotKind.INDIVIDUAL},
        )[0]

    def event(
        self, kind: str, day: str, *flows: tuple[Cell, Cell, int], entered: str = "", **fields: object
    ) -> Event:
        """One event; ``entered`` is the event's own day when it is not given."""
        happened = parse_happened(day)
        effective = happened.effective_at(self.zone)
        entered_at = parse_moment(entered, self.zone) if entered else effective
        identifier = uuid4()
        event = Event.objects.create(
            id=_next_id(),
            identifier=identifier,
            kind=kind,
            happened=day,
            effective_at=effective,
            entered_at=entered_at,
            recorded_at=entered_at,
            entered_by=self.person,
            content_hash="0" * 64,
            previous_hash="0" * 64,
            hash=identifier.hex * 2,
            **fields,
        )
        for a, b, n in flows:
            Flow.objects.create(
                event=event, from_cell=a, to_cell=b, n=n, effective_at=effective, entered_at=entered_at
            )
        return event

    def crossing(
        self, kind: str, day: str, lot: Lot, place: Place, n: int, *, sex: str = "unknown", **fields: object
    ) -> Event:
        """An arrival in or a departure from ``place``."""
        inside, outside = self.cell(lot, place, sex), self.cell(lot, kind, sex)
        ends = (outside, inside) if kind in ARRIVALS else (inside, outside)
        return self.event(kind, day, (*ends, n), **fields)  # type: ignore[arg-type]

    def reversal(self, event: Event, day: str, *, entered: str = "") -> Event:
        """Takes ``event`` back at its own moment."""
        entered_at = parse_moment(entered or day, self.zone)
        back = Event(
            id=_next_id(),
            identifier=uuid4(),
            kind="reversed",
            happened=day,
            effective_at=event.effective_at,
            entered_at=entered_at,
            recorded_at=entered_at,
            entered_by=self.person,
            reverses=event,
            content_hash="0" * 64,
            previous_hash="0" * 64,
        )
        back.hash = back.identifier.hex * 2
        back.save()
        for flow in event.flows.all():
            Flow.objects.create(
                event=back,
                from_cell=flow.to_cell,
                to_cell=flow.from_cell,
                n=flow.n,
                effective_at=event.effective_at,
                entered_at=entered_at,
            )
        return back

    def moment(self, text: str) -> datetime:
        """``text`` as a moment of the house."""
        return parse_moment(text, self.zone)
