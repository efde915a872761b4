"""Trips and takes, from two sheets that belong together; a correction is a row that replaces another."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from inventory.book.actions.load.guests import GuestLoad, GuestRow
from inventory.book.rules.drafts import identifier_of

from ...models import Permit, Take, Trip
from ...rules.sheets import TAKES, TRIPS
from ..entries import TakeEntry, TripEntry, TripRefused
from ..takes import correct_take, move_take
from ..trips import record_trip
from .loading import Loading, column_in


def write_takes(trip_rows: Sequence[GuestRow], rows: Sequence[GuestRow], to: GuestLoad) -> None:
    """Records trips with their takes, and corrections, in the order in which they were entered."""
    trips, takes = Loading(TRIPS, to), Loading(TAKES, to)
    by_trip: dict[str, list[GuestRow]] = {}
    for row in rows:
        if not row.values.get("replaces"):
            by_trip.setdefault(row.values["trip"], []).append(row)
    steps = [_Step(trips.entered(row), 0, row, by_trip.pop(row.values["ref"], [])) for row in trip_rows]
    for trip, left in by_trip.items():
        takes.refuse(left[0], "trip", f"there is no trip {trip!r} in the sheet {TRIPS.name}")
    steps += [_Step(takes.entered(row), 1, row, []) for row in rows if row.values.get("replaces")]
    for step in sorted(steps, key=lambda step: (step.entered, step.rank, step.row.number)):
        if step.rank == 0:
            _write_trip(step, trips, takes)
        else:
            _write_correction(step.row, takes)


@dataclass(frozen=True, slots=True)
class _Step:
    """One slip, or one correction, in its place in time."""

    entered: datetime
    rank: int
    row: GuestRow
    takes: Sequence[GuestRow]


def _write_trip(step: _Step, trips: Loading, takes: Loading) -> None:
    row, to = step.row, trips.to
    entry = _trip_entry(row)
    known = Trip.objects.filter(identifier=entry.identifier).first()
    if known is not None:
        _compare_trip(known, row, step.takes, trips, takes)
        return
    try:
        record_trip(
            trip=entry,
            takes=[_take_entry(take) for take in step.takes],
            by=trips.by(row),
            now=to.now,
            zone=to.zone,
            entered_at=row.values.get("entered"),
        )
    except TripRefused as refused:
        for problem in refused.problems:
            loading, where = (trips, row) if problem.draft < 0 else (takes, step.takes[problem.draft])
            loading.refuse(where, column_in(loading.sheet, problem), problem.message)
    else:
        trips.tally.new += 1
        takes.tally.new += len(step.takes)


def _compare_trip(
    known: Trip, row: GuestRow, rows: Sequence[GuestRow], trips: Loading, takes: Loading
) -> None:
    """A slip that is here already: the same again changes nothing, another under its name is told."""
    trips.tally.already_there += 1
    if known.happened != str(row.values["happened"]):
        trips.differs(row, "ref", f"the trip {row.values['ref']!r}")
    here = {take.identifier: take for take in Take.objects.filter(trip=known)}
    for take_row in rows:
        take = here.get(identifier_of(take_row.values["ref"]))
        if take is None:
            takes.differs(take_row, "trip", f"the trip {row.values['ref']!r}, without this take,")
            continue
        takes.tally.already_there += 1
        numbers = tuple(take_row.values.get(name, 0) for name in ("caught", "let_go", "died", "kept"))
        if numbers != (take.caught, take.let_go, take.died, take.kept):
            takes.differs(take_row, "ref", f"the take {take_row.values['ref']!r}")


def _write_correction(row: GuestRow, takes: Loading) -> None:
    values, to = row.values, takes.to
    entry = _take_entry(row)
    if Take.objects.filter(identifier=entry.identifier).exists():
        takes.tally.already_there += 1
        return
    replaced = Take.objects.select_related("permit").filter(identifier=identifier_of(values["replaces"]))
    take = replaced.first()
    if take is None:
        takes.refuse(row, "replaces", f"there is no take {values['replaces']!r}")
        return
    stated = {"by": takes.by(row), "now": to.now, "zone": to.zone, "why": values.get("why", "")}
    try:
        if values.get("permit") and values["permit"] != take.permit.number:
            permit = Permit.objects.filter(number=values["permit"]).first()
            if permit is None:
                takes.refuse(row, "permit", f"there is no permit {values['permit']!r}")
                return
            move_take(
                take=take,
                to=permit,
                entered_at=values.get("entered"),
                events=entry.events,
                identifier=entry.identifier,
                ref=entry.ref,
                **stated,
            )
        else:
            correct_take(take=take, entry=entry, entered_at=values.get("entered"), **stated)
    except TripRefused as refused:
        for problem in refused.problems:
            takes.refuse(row, column_in(takes.sheet, problem), problem.message)
    else:
        takes.tally.new += 1


def _trip_entry(row: GuestRow) -> TripEntry:
    values = row.values
    plain = (
        *("happened", "people", "locality", "latitude", "longitude", "datum", "uncertainty_m"),
        *("depth_from_m", "depth_to_m", "gear", "vessel", "note", "permit", "ref"),
    )
    stated = {name: values[name] for name in plain if name in values}
    return TripEntry(identifier=identifier_of(values["ref"]), origin=TRIPS.origin(row.number), **stated)


def _take_entry(row: GuestRow) -> TakeEntry:
    values = row.values
    plain = (
        *("name", "let_go", "died", "kept", "unit", "into_stock", "permit", "line", "bycatch", "sex"),
        *("stage", "size_mm", "berried", "individual", "place", "remarks", "ref"),
    )
    stated = {name: values[name] for name in plain if name in values}
    entry = TakeEntry(
        identifier=identifier_of(values["ref"]),
        caught=values.get("caught", 0),
        lot=values.get("accession", ""),
        origin=TAKES.origin(row.number),
        **stated,
    )
    return replace(entry, events=tuple(identifier_of(ref) for ref in values.get("events", ())))
