"""Which returns to an authority speak of animals that events tell of, and did not know of these events.

Read for a statement of changed figures: an entry that moves a closed period can have made a return wrong.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from django.db.models import Q

from inventory.book.models import Event, Flow
from inventory.book.queries.quantities import lots_that_share
from inventory.book.rules.happened import end_of_day

from ..models import PermitReturn, ReturnRow, TakeEvent
from .return_causes import WITHIN


@dataclass(frozen=True, slots=True)
class Touched:
    """The version of a return that an event touches; ``amended`` is the version that follows it."""

    pk: int
    permit: str
    serial: int
    version: int
    amended: int | None = None

    @property
    def words(self) -> str:
        """ "HISFB 2024/117, return 1, version 1"."""
        return f"{self.permit}, return {self.serial}, version {self.version}"

    @property
    def since(self) -> str:
        """What became of it: ", amended by version 2", else nothing."""
        return f", amended by version {self.amended}" if self.amended else ""


def returns_touched(
    events: Collection[int], *, zone: tzinfo, known_at: datetime | None = None
) -> dict[int, list[Touched]]:
    """The returns that each event touches, of those that were made by ``known_at``.

    A return is touched when it was frozen before the event was entered, the event happened by the day as of
    which the return tells fates, and its flows are of lots that share animals with a take in the return; or
    the event brought a take into the stock that belongs to the return's days. Of the versions of one return
    it is the newest that did not know. A move from tank to tank changes no return. The records may say the
    same in the end: the page of the return tells. Six queries.
    """
    told = Event.objects.exclude(kind__in=WITHIN).in_bulk(list(events))
    returns = _frozen_before(told, known_at)
    if not returns:
        return {}
    lots = _lots_of_events(told)
    animals = _animals_of(returns)
    late = _late_takes(told)
    found: dict[int, list[Touched]] = {}
    for pk, event in told.items():
        newest: dict[tuple[int, int], Touched] = {}
        for one in returns:
            entered = event.entered_at > one.frozen_at or event.recorded_at > one.recorded_at
            if not entered or event.effective_at >= end_of_day(one.as_of, zone):
                continue
            belongs = any(
                permit == one.permit_id and one.starts_on <= day <= one.ends_on for permit, day in late[pk]
            )
            if belongs or lots[pk] & animals[one.pk]:
                newest[one.permit_id, one.serial] = _touched(one, known_at)
        if newest:
            found[pk] = sorted(newest.values(), key=lambda each: (each.permit, each.serial))
    return found


def _frozen_before(events: Mapping[int, Event], known_at: datetime | None) -> list[PermitReturn]:
    """Returns that some of the events came after, version by version. One query."""
    if not events:
        return []
    entered = max(event.entered_at for event in events.values())
    recorded = max(event.recorded_at for event in events.values())
    made = PermitReturn.objects.select_related("permit", "amended_by")
    made = made.filter(Q(frozen_at__lt=entered) | Q(recorded_at__lt=recorded))
    if known_at is not None:
        made = made.filter(frozen_at__lte=known_at)
    return list(made.order_by("permit", "serial", "version"))


def _touched(one: PermitReturn, known_at: datetime | None) -> Touched:
    following: PermitReturn | None = getattr(one, "amended_by", None)
    if following is not None and known_at is not None and following.frozen_at > known_at:
        following = None
    return Touched(
        one.pk, one.permit.number, one.serial, one.version, following.version if following else None
    )


def _lots_of_events(events: Collection[int]) -> defaultdict[int, set[int]]:
    """The lots at both ends of the flows of each event. One query."""
    found: defaultdict[int, set[int]] = defaultdict(set)
    flows = Flow.objects.filter(event__in=list(events)).order_by()
    for event, one, other in flows.values_list("event_id", "from_cell__lot_id", "to_cell__lot_id"):
        found[event] |= {one, other}
    return found


def _animals_of(returns: Collection[PermitReturn]) -> defaultdict[int, set[int]]:
    """The lots into which the takes of each return came, and all that share with them. Two queries."""
    rows = ReturnRow.objects.filter(of_return__in=returns, withdrawn=False).order_by()
    brought = rows.values_list("of_return_id", "take_row__events__event__flows__to_cell__lot_id").distinct()
    pairs = [(pk, lot) for pk, lot in brought if lot is not None]
    shared = lots_that_share({lot for _, lot in pairs}) if pairs else {}
    found: defaultdict[int, set[int]] = defaultdict(set)
    for pk, lot in pairs:
        found[pk] |= shared[lot]
    return found


def _late_takes(events: Collection[int]) -> defaultdict[int, list[tuple[int, date]]]:
    """Of each event the takes that it brought into the stock: permit and last day of the trip. One query."""
    links = TakeEvent.objects.filter(event__in=list(events), take__replaced_by=None).order_by()
    found: defaultdict[int, list[tuple[int, date]]] = defaultdict(list)
    for event, permit, day in links.values_list("event_id", "take__permit_id", "take__trip__ends_on"):
        found[event].append((permit, day))
    return found
