"""Trips and takes as they stand: rows that were replaced are left out, and stay readable by their trail."""

from collections import defaultdict
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from inventory.book.models import Flow

from ..models import Case, CaseKind, Permit, Take, TakeEvent, Trip, TripPerson
from ..rules.accounts import Taken
from .strays import place_strays


@dataclass(frozen=True, slots=True)
class TakeRead:
    """A take as it stands, with its trip as that stands, who was on it, and the events it points to."""

    take: Take
    trip: Trip
    trip_root: int
    people: tuple[str, ...]
    event_ids: tuple[int, ...]

    @property
    def counts(self) -> Taken:
        """The take as it counts against a limit."""
        take = self.take
        return Taken(
            line=take.line_number,
            trip=self.trip_root,
            day=self.trip.ends_on,
            unit=take.unit,
            caught=take.caught,
            let_go=take.let_go,
            died=take.died,
            kept=take.kept,
        )


def current_takes(
    *,
    permits: Collection[Permit | int] | None = None,
    trips: Collection[int] | None = None,
    known_at: datetime | None = None,
) -> list[TakeRead]:
    """Takes as they stand now, or as they stood for who looked at ``known_at``; by day, then as entered.

    ``permits`` and ``trips`` narrow them; a trip is known by any of its rows. Kinds of animal and lines
    are as they are known now (:mod:`.strays`). Five queries, and seven more where a take has no line.
    """
    takes = Take.objects.select_related("taxon__joined_into", "lot", "permit", "entered_by")
    if known_at is not None:
        takes = takes.filter(entered_at__lte=known_at)
        standing = takes.filter(Q(replaced_by=None) | Q(replaced_by__entered_at__gt=known_at))
    else:
        standing = takes.filter(replaced_by=None)
    if permits is not None:
        standing = standing.filter(permit__in=permits)
    chains = trip_chains(known_at=known_at)
    if trips is not None:
        rows = {row for trip in trips for row in chains.all_of(trip)}
        standing = standing.filter(trip__in=rows)
    found = list(standing.order_by("id"))
    now_trips = {take.trip_id: chains.newest(take.trip_id) for take in found}
    trip_rows = Trip.objects.select_related("permit", "entered_by").in_bulk(set(now_trips.values()))
    place_strays(found, {take.pk: trip_rows[now_trips[take.trip_id]] for take in found})
    people = people_of(trip_rows)
    events: defaultdict[int, list[int]] = defaultdict(list)
    ids = [take.pk for take in found]
    for take_id, event_id in TakeEvent.objects.filter(take__in=ids).values_list("take_id", "event_id"):
        events[take_id].append(event_id)
    reads = [
        TakeRead(
            take=take,
            trip=trip_rows[now_trips[take.trip_id]],
            trip_root=chains.root(take.trip_id),
            people=people.get(now_trips[take.trip_id], ()),
            event_ids=tuple(events[take.pk]),
        )
        for take in found
    ]
    return sorted(reads, key=lambda read: (read.trip.ends_on, read.trip_root, read.take.pk))


@dataclass(frozen=True, slots=True)
class TripChains:
    """Which rows are one trip: by the newest of each, and by the first. Only trips with corrections."""

    roots: dict[int, int]
    rows: dict[int, tuple[int, ...]]

    def root(self, trip: int) -> int:
        """The first row of the trip."""
        return self.roots.get(trip, trip)

    def all_of(self, trip: int) -> tuple[int, ...]:
        """All rows of the trip, oldest first."""
        return self.rows.get(self.root(trip), (trip,))

    def newest(self, trip: int) -> int:
        """The row that stands."""
        return self.all_of(trip)[-1]


def trip_chains(*, known_at: datetime | None = None) -> TripChains:
    """The trips that were corrected. One query."""
    pairs = Trip.objects.exclude(replaces=None).order_by("id")
    if known_at is not None:
        pairs = pairs.filter(entered_at__lte=known_at)
    roots: dict[int, int] = {}
    rows: dict[int, tuple[int, ...]] = {}
    for newer, older in pairs.values_list("id", "replaces_id"):
        if older is None:
            continue
        root = roots.setdefault(older, older)
        roots[newer] = root
        rows[root] = (*rows.get(root, (root,)), newer)
    return TripChains(roots, rows)


def doubtful_trips(permit: Permit, *, known_at: datetime | None = None) -> set[int]:
    """The first rows of trips whose coordinates a case of the permit doubts. Two queries."""
    cases = Case.objects.filter(permit=permit, kind=CaseKind.COORDINATES)
    if known_at is None:
        cases = cases.filter(closed_at=None)
    else:
        cases = cases.filter(Q(closed_at=None) | Q(closed_at__gt=known_at), opened_at__lte=known_at)
    chains = trip_chains(known_at=known_at)
    return {chains.root(trip) for trip in cases.values_list("trip_id", flat=True)}


def people_of(trips: Collection[int]) -> dict[int, tuple[str, ...]]:
    """Who was on each trip, in the order in which they were written. One query."""
    people: dict[int, tuple[str, ...]] = {}
    named = TripPerson.objects.filter(trip__in=trips).order_by("id")
    for trip_id, name in named.values_list("trip_id", "person__name"):
        people[trip_id] = (*people.get(trip_id, ()), name)
    return people


def trail_of(take: Take) -> list[Take]:
    """All rows that this one stands in a chain with, oldest first. One query for each correction."""
    related = Take.objects.select_related("permit", "entered_by", "taxon")
    first = take
    while first.replaces_id is not None:
        first = related.get(pk=first.replaces_id)
    trail = [first]
    while following := related.filter(replaces=trail[-1]).first():
        trail.append(following)
    return trail


def trails_of(takes: Sequence[Take]) -> dict[int, list[Take]]:
    """The trail of each take of one trip that was corrected, by the id of the row that stands. One query."""
    rows = Take.objects.select_related("permit", "entered_by").filter(
        trip__in={take.trip_id for take in takes}
    )
    by_id = {row.pk: row for row in rows}
    trails = {}
    for take in takes:
        trail = [take]
        while (older := trail[0].replaces_id) is not None and older in by_id:
            trail.insert(0, by_id[older])
        if len(trail) > 1:
            trails[take.pk] = trail
    return trails


def place_of_events(events: Collection[int]) -> str:
    """The code of the place where events brought animals; blank when they brought none."""
    flows = Flow.objects.filter(event__in=events, to_cell__inside=True)
    return flows.order_by("id").values_list("to_cell__account__place__code", flat=True).first() or ""


def kept_not_stocked() -> list[Take]:
    """Takes of slips from a device that kept animals and brought none into the stock yet. One query."""
    waiting = Take.objects.filter(kept__gt=0, replaced_by=None, events=None).exclude(trip__device="")
    return list(waiting.select_related("trip", "permit", "entered_by").order_by("trip__starts_on", "id"))
