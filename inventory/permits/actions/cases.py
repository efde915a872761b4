"""Cases: opened by what a trip or a take breaks, followed by people, and closed with a reason."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo

from django.db import transaction
from django.utils.timezone import localtime

from inventory.people.models import Person
from inventory.people.queries import the_house
from inventory.people.rules.roles import Role

from ..models import Case, CaseNote, Permit, Take, Trip
from ..queries.accounts import accounts
from ..queries.field_names import open_names
from ..queries.reading import PermitRead, line_terms, read_permits
from ..queries.runs import Runs
from ..queries.takes import TakeRead, current_takes, trip_chains
from ..readers.coastline import shore_of
from ..rules.checks import OF_TRIPS, Breach, CaseKind, TakeFacts, TripFacts, check_take, check_trip


@dataclass(frozen=True, slots=True)
class _Key:
    """What makes two breaches the same matter.

    ``take`` is the first row of a take's trail. ``run`` is the first day of what a limit is counted over:
    each run that is over is a matter of its own.
    """

    kind: str
    permit: int
    line: int | None
    trip: int | None
    take: int | None
    run: date | None = None


@dataclass(frozen=True, slots=True)
class _Matter:
    """A breach as it stands, and the rows that a case of it points to."""

    words: str
    trip: Trip
    take: Take | None


@transaction.atomic
def note_case(*, case: Case, words: str, by: Person, now: datetime) -> CaseNote:
    """Adds a line to the history of a case."""
    return CaseNote.objects.create(case=case, at=now, by=by, words=words)


@transaction.atomic
def close_case(*, case: Case, words: str, by: Person, now: datetime) -> None:
    """Ends a case, with the reason as its last line; a case that is closed stays as it is."""
    row = Case.objects.select_for_update().get(pk=case.pk)
    if row.closed_at is not None:
        return
    note_case(case=row, words=words, by=by, now=now)
    row.closed_at, row.closed_by = now, by
    row.save(update_fields=["closed_at", "closed_by"])


@transaction.atomic
def give_case(*, case: Case, owner: Person, by: Person, now: datetime) -> None:
    """Makes somebody else the owner; the history says so."""
    if case.owner_id == owner.pk:
        return
    note_case(case=case, words=f"given to {owner.name}, before {case.owner.name}", by=by, now=now)
    Case.objects.filter(pk=case.pk).update(owner=owner)


def owner_of_cases(by: Person) -> Person:
    """Whose new cases are: the permit officer's, else the registrar's, else of who enters."""
    officers = Person.objects.filter(user__groups__name=Role.PERMIT_OFFICER.value, left_on=None)
    officer = officers.order_by("id").first()
    if officer is not None:
        return officer
    house = the_house()
    return house.registrar if house and house.registrar else by


def review_cases(
    *, trip: int, permits: Collection[int], by: Person, at: datetime, zone: tzinfo, why: str = ""
) -> list[Case]:
    """Looks at one trip, and at the limits of ``permits``, anew: answers the cases that were opened.

    A breach without a case opens one; a case whose breach is gone is closed with ``why``; one whose
    breach changed gets a line. What people closed stays closed while nothing changes.
    """
    chains = trip_chains(known_at=at)
    root = chains.root(trip)
    found = Permit.objects.in_bulk(list(permits))
    takes = current_takes(trips=[root], known_at=at)
    cases = list(Case.objects.filter(permit__in=permits).prefetch_related("notes").order_by("id"))
    days = _days_of({chains.newest(case.trip_id) for case in cases} | {chains.newest(root)})
    runs = Runs(found)
    asked: defaultdict[int, set[date]] = defaultdict(set)
    for pk in found:
        asked[pk].add(days[chains.newest(root)])
    matters = _of_trip(root, takes, found)
    rows = set(chains.all_of(root))
    kept: list[tuple[_Key, Case]] = []
    for case in cases:
        day = days[chains.newest(case.trip_id)]
        key = _key_of(case, chains.root(case.trip_id), runs, day)
        if case.trip_id in rows or key.kind == CaseKind.OVER_LIMIT:
            kept.append((key, case))
        if key.kind == CaseKind.OVER_LIMIT and case.closed_at is None:
            asked[case.permit_id].add(day)
    matters |= _of_limits(root, found, asked, runs, at=at, zone=zone)
    placed = Trip.objects.filter(pk=chains.newest(root), latitude__isnull=False).exists()
    _follow(kept, matters, unplaced=() if placed else rows, by=by, at=at, why=why)
    known = dict(kept)
    fresh = [key for key in matters if key not in known or _said_otherwise(known[key], matters[key].words)]
    return [_open(key, matters[key], by=by, at=at) for key in fresh]


def _said_otherwise(case: Case, words: str) -> bool:
    """True for a case that was closed, where what is broken has changed since."""
    return case.closed_at is not None and words not in {case.words, *(n.words for n in case.notes.all())}


def _follow(
    cases: Iterable[tuple[_Key, Case]],
    matters: Mapping[_Key, _Matter],
    *,
    unplaced: Collection[int],
    by: Person,
    at: datetime,
    why: str,
) -> None:
    for key, case in cases:
        # Coordinates that could not be any were not kept as such: the case waits for the right ones.
        waits = key.kind == CaseKind.COORDINATES and case.trip_id in unplaced
        if case.closed_at is not None or waits:
            continue
        matter = matters.get(key)
        if matter is None:
            close_case(case=case, words=why or "it is no longer so", by=by, now=at)
            continue
        if matter.words not in {case.words, *(note.words for note in case.notes.all())}:
            note_case(case=case, words=matter.words, by=by, now=at)


def _open(key: _Key, matter: _Matter, *, by: Person, at: datetime) -> Case:
    case = Case.objects.create(
        kind=key.kind,
        permit_id=key.permit,
        line_number=key.line,
        trip=matter.trip,
        take=matter.take,
        words=matter.words[:400],
        opened_at=at,
        owner=owner_of_cases(by),
    )
    note_case(case=case, words=matter.words, by=by, now=at)
    return case


def open_case_of_position(*, trip: Trip, words: str, by: Person, at: datetime) -> Case:
    """A case of coordinates that cannot be any; the right ones are asked for."""
    key = _Key(CaseKind.COORDINATES.value, trip.permit_id, None, trip.pk, None)
    return _open(key, _Matter(words, trip, None), by=by, at=at)


def _days_of(trips: Collection[int]) -> dict[int, date]:
    """The last day of each trip."""
    return dict(Trip.objects.filter(pk__in=trips).values_list("pk", "ends_on"))


def _key_of(case: Case, trip_root: int, runs: Runs, day: date) -> _Key:
    """``day`` is the last one of the case's trip, as it stands."""
    if case.kind == CaseKind.OVER_LIMIT:
        run = runs.begins(case.permit_id, case.line_number, day)
        return _Key(case.kind, case.permit_id, case.line_number, None, None, run)
    if case.kind in OF_TRIPS:
        return _Key(case.kind, case.permit_id, None, trip_root, None)
    return _Key(case.kind, case.permit_id, case.line_number, trip_root, _first_row(case.take))


def _first_row(take: Take | None) -> int | None:
    """The first row of a take's trail. One query for each correction."""
    while take is not None and take.replaces_id is not None:
        take = Take.objects.get(pk=take.replaces_id)
    return take.pk if take else None


def _of_trip(root: int, takes: list[TakeRead], permits: Mapping[int, Permit]) -> dict[_Key, _Matter]:
    """What the trip breaks of each permit under which it has takes, and what each take does."""
    matters: dict[_Key, _Matter] = {}
    if not takes:
        return matters
    used = {read.take.permit_id for read in takes}
    day = takes[0].trip.ends_on
    reads = read_permits([permit for pk, permit in permits.items() if pk in used], on=day)
    facts = trip_facts(takes[0])
    for pk, read in reads.items():
        trip = takes[0].trip
        for breach in check_trip(facts, read.terms):
            matters[_Key(breach.kind.value, pk, None, root, None)] = _Matter(breach.words, trip, None)
    names_open = open_names({take.take.taxon_id for take in takes if take.take.taxon_id})
    for take in takes:
        read_of = reads.get(take.take.permit_id)
        if read_of is None:
            continue
        for breach in breaches_of(take, read_of, names_open=names_open):
            key = _Key(
                breach.kind.value,
                take.take.permit_id,
                take.take.line_number,
                root,
                _first_row(take.take),
            )
            matters[key] = _Matter(breach.words, take.trip, take.take)
    return matters


def breaches_of(take: TakeRead, read: PermitRead, *, names_open: Collection[int] = ()) -> list[Breach]:
    """What one take breaks of its permit, limits apart; ``names_open`` are taxa that wait for a person."""
    line = read.line(take.take.line_number)
    facts = replace(take_facts(take.take), name_is_open=take.take.taxon_id in names_open)
    return check_take(facts, line_terms(line) if line else None, permit=read.permit.number)


def trip_facts(take: TakeRead) -> TripFacts:
    """A trip as the rules look at it."""
    trip = take.trip
    latitude = float(trip.latitude) if trip.latitude is not None else None
    longitude = float(trip.longitude) if trip.longitude is not None else None
    return TripFacts(
        starts_on=trip.starts_on,
        ends_on=trip.ends_on,
        people=take.people,
        latitude=latitude,
        longitude=longitude,
        uncertainty_m=trip.uncertainty_m or 0,
        shore=shore_of(latitude, longitude) if latitude is not None and longitude is not None else None,
        gear=trip.gear,
    )


def take_facts(take: Take) -> TakeFacts:
    """A take as the rules look at it."""
    return TakeFacts(
        name=take.verbatim_identification,
        unit=take.unit,
        kept=take.kept,
        died=take.died,
        sex=take.sex,
        size_mm=take.size_mm,
        berried=take.berried,
        into_stock=take.into_stock,
    )


def _of_limits(
    root: int,
    permits: Mapping[int, Permit],
    asked: Mapping[int, Collection[date]],
    runs: Runs,
    *,
    at: datetime,
    zone: tzinfo,
) -> dict[_Key, _Matter]:
    """Lines over their limit, as known at ``at``: one matter for each line and run.

    Looked at are today, and the ends of the runs in which the days ``asked`` of each permit lie.
    """
    today = localtime(at, zone).date()
    matters: dict[_Key, _Matter] = {}
    looks: defaultdict[date, set[int]] = defaultdict(set)
    for pk in permits:
        for day in {today, *asked.get(pk, ())}:
            for last in runs.ends(pk, day):
                looks[min(last, today)].add(pk)
    for day, pks in sorted(looks.items(), reverse=True):
        for pk, account in accounts([permits[pk] for pk in pks], as_of=day, zone=zone, known_at=at).items():
            for line in account.over:
                if line.line is None or not runs.is_whole(pk, line.line.per, day, today):
                    continue
                run = runs.begins(pk, line.number, day)
                of_run = [r for r in line.takes if runs.begins(pk, line.number, r.trip.ends_on) == run]
                # The case points to the trip that is looked at, when it is one of the run's.
                mine = [read for read in of_run if read.trip_root == root] or of_run
                if not mine:
                    continue
                key = _Key(CaseKind.OVER_LIMIT.value, pk, line.number, None, None, run)
                words = over_words(line.words, line.used.used, line.limit, line.used.over or 0)
                matters.setdefault(key, _Matter(words, mine[-1].trip, mine[-1].take))
    return matters


def over_words(words: str, used: int, limit: str, over: int) -> str:
    """What the first line of an over-limit case says."""
    return f"{used} counted under “{words}”, limit {limit}: over by {over}"
