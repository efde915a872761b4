"""Returns already sent that late entries touch: their figures rest on animals of the permit."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from django.db.models import F, Max

from inventory.book.models import Event, Flow
from inventory.permits.models import PermitReturn


@dataclass(frozen=True, slots=True)
class LateEvent:
    """An event that came late: the lots that it moved, from when it counts, when it was entered."""

    event: Event
    lots: frozenset[int]
    effective_at: datetime
    entered_at: datetime


@dataclass(frozen=True, slots=True)
class Touched:
    """A return as it was last sent, and the late events behind its figures."""

    sent: PermitReturn
    sent_on: date
    events: tuple[Event, ...]

    @property
    def words(self) -> str:
        """ "P1 return 2 version 1, sent on 2026-07-20"."""
        return f"{self.sent}, sent on {self.sent_on}"


def returns_touched(late: Iterable[LateEvent], zone: tzinfo) -> list[Touched]:
    """The newest sent version of each return that any of these events touches, oldest sending first.

    A return tells what was taken and what became of it up to a day; an event touches it when it is dated up
    to then, was entered after the return was made, and moved animals of the permit, or of a lot that they
    were put to. One query where nothing was sent, three otherwise.
    """
    sent = _newest_sent()
    events = list(late)
    if not sent or not events:
        return []
    lots = _lots_of({one.permit.number for one, _ in sent})
    found = []
    for one, sent_on in sent:
        mine = lots[one.permit.number]
        touching = [
            event.event
            for event in events
            if event.entered_at > one.frozen_at
            and event.effective_at.astimezone(zone).date() <= one.as_of
            and (event.event.permit_number == one.permit.number or not mine.isdisjoint(event.lots))
        ]
        if touching:
            found.append(Touched(one, sent_on, tuple(touching)))
    return found


def _newest_sent() -> list[tuple[PermitReturn, date]]:
    newest: dict[tuple[int, int], tuple[PermitReturn, date]] = {}
    went_out = PermitReturn.objects.filter(sendings__isnull=False).select_related("permit")
    for one in went_out.annotate(sent_on=Max("sendings__sent_on")).order_by("version"):
        newest[one.permit_id, one.serial] = (one, one.sent_on)
    return sorted(newest.values(), key=lambda pair: (pair[1], pair[0].pk))


def _lots_of(numbers: Collection[str]) -> Mapping[str, set[int]]:
    """Lots that hold, or held, animals of each permit: those they came into, and those they were put to."""
    came = Flow.objects.filter(
        event__permit_number__in=numbers, to_cell__inside=True, from_cell__inside=False
    )
    first: dict[str, set[int]] = defaultdict(set)
    for number, lot in came.values_list("event__permit_number", "to_cell__lot").distinct():
        first[number].add(lot)
    onward: dict[int, set[int]] = defaultdict(set)
    between = Flow.objects.filter(from_cell__inside=True, to_cell__inside=True)
    between = between.exclude(from_cell__lot=F("to_cell__lot"))
    for start, end in between.values_list("from_cell__lot", "to_cell__lot").distinct():
        onward[start].add(end)
    return defaultdict(set, {number: _reached(lots, onward) for number, lots in first.items()})


def _reached(lots: Collection[int], onward: Mapping[int, Collection[int]]) -> set[int]:
    reached, waiting = set(lots), list(lots)
    while waiting:
        for lot in onward.get(waiting.pop(), ()):
            if lot not in reached:
                reached.add(lot)
                waiting.append(lot)
    return reached
