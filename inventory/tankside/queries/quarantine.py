"""Who is in quarantine and hospital, for how long, and who left before the days were full.

Everything is read from the book's moves; what people signed is added. A constant number of queries.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils import timezone

from inventory.book.models import Cell, Event, Flow, Lot, Place, PlaceKind
from inventory.book.queries.lists import LivesHere, lives_here
from inventory.book.queries.quantities import CellEnd, cell_ends, flows_of_lots
from inventory.names.models import Taxon

from ..models.quarantine import QuarantineRule, StayWord
from ..rules.stays import (
    End,
    Key,
    LeastDays,
    Leaving,
    Stay,
    Step,
    by_lot_and_place,
    ends_on,
    least_days,
    read_stays,
    released,
)

ISOLATION = (PlaceKind.QUARANTINE, PlaceKind.HOSPITAL)
# So long is a move out looked at that came too early.
LOOKED_AT = timedelta(days=90)


@dataclass(frozen=True, slots=True)
class StayTold:
    """One lot in quarantine or hospital. ``ends`` is the day on which it may leave; none: nobody said."""

    here: LivesHere
    place: Place
    lot: Lot
    since: date
    joined: date
    days: int
    reason: str
    rule: LeastDays | None
    ends: date | None
    released: StayWord | None
    begun_by: int

    @property
    def joined_later(self) -> bool:
        return self.joined != self.since

    def state(self, today: date) -> str:
        """In words: what is due today."""
        if self.released is not None:
            return f"released by {self.released.by.name}"
        if self.ends is None:
            return "no end was set"
        if self.ends == today:
            return "ends today: to be released"
        if self.ends < today:
            return f"was to end {(today - self.ends).days} days ago: to be released"
        return f"{(self.ends - today).days} days to go"

    @property
    def key(self) -> str:
        """Lot and place, for forms and links."""
        return f"{self.lot.pk}-{self.place.pk}"

    def is_due(self, today: date) -> bool:
        return self.released is None and self.ends is not None and self.ends <= today


@dataclass(frozen=True, slots=True)
class LeftTold:
    """A move out before the least days were full and before the veterinarian had released them."""

    event: Event
    lot: Lot
    place: Place
    joined: date
    left: date
    due: date


@dataclass(frozen=True, slots=True)
class Isolation:
    """What the page shows."""

    stays: list[StayTold]
    left_early: list[LeftTold]
    rules: list[QuarantineRule]


def isolation(*, now: datetime, hidden: Collection[int] = ()) -> Isolation:
    """Stays that go on, by end and name, and those of the last 90 days that ended too early. Twelve queries.

    ``hidden``: places whose numbers the reader may not see.
    """
    today = timezone.localdate(now)
    places = {place.pk: place for place in Place.objects.filter(kind__in=ISOLATION)}
    rows = lives_here(places=list(places), hidden=hidden)
    steps = _steps({row.lot_id for row in rows} | _lots_that_left(places, now - LOOKED_AT), now)
    found = read_stays(steps, frozenset(places))
    gone = [one for one in found.left if one.moment >= now - LOOKED_AT]
    lots = _lots({row.lot_id for row in rows} | {one.stay.lot for one in gone})
    kept = list(QuarantineRule.objects.select_related("set_by"))
    rules = [LeastDays(rule.group, rule.min_days, rule.since) for rule in kept]
    words = _words(places)
    reasons = Event.objects.in_bulk({stay.begun_by for stay in found.now.values()})
    teller = _Teller(lots, places, rules, words, reasons, today)
    stays = [
        teller.tell(row, found.now[row.lot_id, row.place_id])
        for row in rows
        if (row.lot_id, row.place_id) in found.now
    ]
    return Isolation(
        sorted(stays, key=lambda one: (one.ends is None, one.ends or today, one.place.code)),
        _left_early(gone, lots, places, rules, words),
        kept,
    )


def left_early_by(event: int, lot: Lot, place: Place, *, now: datetime) -> LeftTold | None:
    """Whether this move took animals of the lot out of quarantine before their days were full.

    Six queries; none where the place is no quarantine.
    """
    if place.kind != PlaceKind.QUARANTINE:
        return None
    isolated = frozenset(Place.objects.filter(kind__in=ISOLATION).values_list("pk", flat=True))
    # What was moved a minute ago may count from the next: the house's clock and the device's are two.
    gone = read_stays(_steps([lot.pk], now + timedelta(days=1)), isolated).left
    rules = [LeastDays(*row) for row in QuarantineRule.objects.values_list("group", "min_days", "since")]
    early = _left_early(
        (one for one in gone if one.event == event),
        {lot.pk: lot},
        {place.pk: place},
        rules,
        _words([place.pk]),
    )
    return early[0] if early else None


def names_of(taxon: Taxon) -> tuple[str, ...]:
    """The names by which a rule may mean the taxon, the narrowest first."""
    names = (
        taxon.scientific_name,
        taxon.genus,
        taxon.family,
        taxon.order,
        taxon.class_name,
        taxon.phylum,
        taxon.kingdom,
    )
    return tuple(name for name in names if name)


def _lots(wanted: Collection[int]) -> dict[int, Lot]:
    return Lot.objects.select_related("taxon").in_bulk(list(wanted))


def _lots_that_left(places: Collection[int], since: datetime) -> set[int]:
    """Lots with a flow out of these places lately."""
    cells = Cell.objects.filter(account__place__in=places)
    flows = Flow.objects.filter(from_cell__in=cells.values("pk"), effective_at__gte=since)
    return set(flows.order_by().values_list("from_cell__lot_id", flat=True).distinct())


def _steps(lots: Collection[int], now: datetime) -> list[Step]:
    flows = flows_of_lots(lots, before=now)
    ends = cell_ends({cell for flow in flows for cell in (flow.from_cell, flow.to_cell)})
    return [
        Step(
            flow.event_id,
            flow.effective_at,
            _end(ends[flow.from_cell]),
            _end(ends[flow.to_cell]),
            flow.n,
            flow.reversal,
        )
        for flow in flows
    ]


def _end(end: CellEnd) -> End:
    return End(end.lot_id, end.place_id or 0, end.cause)


def _words(places: Iterable[int]) -> dict[Key, list[StayWord]]:
    words: dict[Key, list[StayWord]] = defaultdict(list)
    for word in StayWord.objects.filter(place__in=list(places)).select_related("by").order_by("at", "id"):
        words[word.lot_id, word.place_id].append(word)
    return words


@dataclass(frozen=True, slots=True)
class _Teller:
    """Puts together what is known of a stay."""

    lots: dict[int, Lot]
    places: dict[int, Place]
    rules: list[LeastDays]
    words: dict[Key, list[StayWord]]
    reasons: dict[int, Event]
    today: date

    def tell(self, row: LivesHere, stay: Stay) -> StayTold:
        lot, place = self.lots[row.lot_id], self.places[row.place_id]
        said = [word for word in self.words.get((lot.pk, place.pk), []) if word.at >= stay.joined]
        expected = next((word for word in reversed(said) if word.kind == StayWord.Kind.EXPECTED), None)
        release = next((word for word in reversed(said) if word.kind == StayWord.Kind.RELEASED), None)
        since, joined = timezone.localdate(stay.since), timezone.localdate(stay.joined)
        # A hospital has no least days: its end is what the veterinarian says of each animal.
        in_quarantine = place.kind == PlaceKind.QUARANTINE
        rule = least_days(self.rules, names_of(lot.taxon), self.today) if in_quarantine else None
        ends = [day for day in (ends_on(joined, rule), expected.ends_on if expected else None) if day]
        return StayTold(
            here=row,
            place=place,
            lot=lot,
            since=since,
            joined=joined,
            days=(self.today - since).days,
            reason=expected.words if expected else self._reason(stay),
            rule=rule,
            # What was said of one lot makes the least days longer, never shorter: that is a release.
            ends=max(ends, default=None),
            released=release,
            begun_by=stay.begun_by,
        )

    def _reason(self, stay: Stay) -> str:
        event = self.reasons.get(stay.begun_by)
        return ", ".join(filter(None, (event.reason, event.cause, event.note))) if event else ""


def _left_early(
    gone: Iterable[Leaving],
    lots: dict[int, Lot],
    places: dict[int, Place],
    rules: list[LeastDays],
    words: dict[Key, list[StayWord]],
) -> list[LeftTold]:
    early: dict[tuple[int, Key], Leaving] = {}
    signed = by_lot_and_place(
        (lot, place, word.at)
        for (lot, place), said in words.items()
        for word in said
        if word.kind == StayWord.Kind.RELEASED
    )
    looked_at = {
        (word.event_id, key)
        for key, said in words.items()
        for word in said
        if word.kind == StayWord.Kind.LEFT_EARLY
    }
    due: dict[tuple[int, Key], date] = {}
    for one in gone:
        key = (one.stay.lot, one.stay.place)
        if places[key[1]].kind != PlaceKind.QUARANTINE or (one.event, key) in looked_at:
            continue
        left = timezone.localdate(one.moment)
        rule = least_days(rules, names_of(lots[key[0]].taxon), left)
        day = ends_on(timezone.localdate(one.stay.joined), rule)
        if day is None or left >= day:
            continue
        if released(signed.get(key, ()), after=one.stay.joined, by=one.moment):
            continue
        early[one.event, key], due[one.event, key] = one, day
    events = Event.objects.select_related("entered_by").filter(pk__in={event for event, _ in early})
    by_number = {event.pk: event for event in events}
    return [
        LeftTold(
            event=by_number[event],
            lot=lots[key[0]],
            place=places[key[1]],
            joined=timezone.localdate(one.stay.joined),
            left=timezone.localdate(one.moment),
            due=due[event, key],
        )
        for (event, key), one in sorted(early.items(), key=lambda item: item[1].moment, reverse=True)
    ]
