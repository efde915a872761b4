"""Records a trip with its takes: the rows, what was kept into the stock, and the cases, in one transaction.

Nothing that the permit does not allow is refused: it is recorded and becomes a case. Sent back is only
what cannot be: numbers that do not add up, somebody whom nobody knows, a place that is not there.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, tzinfo
from decimal import Decimal

from django.db import transaction

from inventory.book.rules.drafts import Problem
from inventory.book.rules.happened import parse_happened
from inventory.db.locks import serialize_writers
from inventory.names.models import Taxon
from inventory.people.models import Person

from ..models import Permit, Take, Trip, TripPerson
from ..queries.field_names import read_field_names
from ..queries.reading import animal_of, read_permits
from ..queries.takes import current_takes, trip_chains
from ..rules.checks import refuse_position
from ..rules.scopes import line_for
from .cases import open_case_of_position, review_cases
from .entries import Recorded, TakeEntry, TripEntry, TripRefused, When, adds_up, sex_unknown
from .field_names import taxa_of
from .stocking import Stocking

_TRIP = -1


@transaction.atomic
def record_trip(
    *,
    trip: TripEntry,
    takes: Sequence[TakeEntry],
    by: Person,
    now: datetime,
    zone: tzinfo,
    entered_at: datetime | None = None,
) -> Recorded:
    """Records a slip; the same identifier twice is one trip with one answer. Raises :class:`TripRefused`."""
    serialize_writers()
    known = Trip.objects.filter(identifier=trip.identifier).first()
    if known is not None:
        return Recorded(known, list(known.takes.filter(replaced_by=None)), already=True)
    when = When(now, entered_at)
    slip = _Slip(trip, takes, by, when, zone)
    slip.check()
    return slip.write()


class _Slip:
    """One slip on its way: read, checked, written."""

    def __init__(
        self, trip: TripEntry, takes: Sequence[TakeEntry], by: Person, when: When, zone: tzinfo
    ) -> None:
        self.trip = trip
        self.takes = takes
        self.by = by
        self.when = when
        self.zone = zone
        self.problems: list[Problem] = []
        numbers = {trip.permit, *(take.permit for take in takes)} - {""}
        permits = {permit.number: permit for permit in Permit.objects.filter(number__in=numbers)}
        self.permits = permits
        self.reads = read_permits(list(permits.values()), on=trip.happened.day)
        self.people = {person.name: person for person in Person.objects.filter(name__in=trip.people)}
        self.names = read_field_names([take.name for take in takes], self.reads.values())

    def check(self) -> None:
        """Raises what cannot be recorded at all."""
        self._check_trip()
        for index, take in enumerate(self.takes):
            wrong = adds_up(take)
            if wrong:
                self._refuse(index, "caught", wrong)
            if wrong := sex_unknown(take):
                self._refuse(index, "sex", wrong)
            if not take.name.strip():
                self._refuse(index, "name", "say what it was, as it was written in the field")
            if take.permit and take.permit not in self.permits:
                self._refuse(index, "permit", f"there is no permit {take.permit!r}; enter it first")
        if self.problems:
            raise TripRefused(self.problems)

    def _check_trip(self) -> None:
        trip = self.trip
        if trip.permit not in self.permits:
            self._refuse(_TRIP, "permit", f"there is no permit {trip.permit!r}; enter it first")
        for name in trip.people:
            if name not in self.people:
                self._refuse(_TRIP, "people", f"nobody here is called {name!r}")
        if trip.happened.effective_at(self.zone) > self.when.now:
            self._refuse(_TRIP, "happened", f"{trip.happened} lies in the future")
        elif trip.happened.earliest(self.zone).date() > self.when.entered.astimezone(self.zone).date():
            self._refuse(_TRIP, "entered", f"entered before it happened ({trip.happened})")

    def _refuse(self, index: int, column: str, message: str) -> None:
        origin = self.trip.origin if index == _TRIP else self.takes[index].origin
        self.problems.append(Problem(index, origin, column, message))

    def write(self) -> Recorded:
        """All rows, the stock, the cases."""
        trip, doubtful = self.write_trip()
        taxa = self._taxa()
        stocking = Stocking(self.trip.happened, by=self.by, when=self.when, zone=self.zone)
        rows = []
        for index, entry in enumerate(self.takes):
            rows.append(self._take(trip, entry, taxa[entry.name]))
            stocking.add(index, rows[-1], entry)
        events = stocking.post()
        for row in rows:
            row.save()
        for index, row in enumerate(rows):
            stocking.link(row, events.get(index, ()))
        if doubtful:
            open_case_of_position(trip=trip, words=doubtful, by=self.by, at=self.when.entered)
        cases = review_cases(
            trip=trip.pk,
            permits={permit.pk for permit in self.permits.values()},
            by=self.by,
            at=self.when.entered,
            zone=self.zone,
        )
        read = [name.words for name in self.names.values() if name.words and name.asked != name.written]
        return Recorded(trip, rows, cases, read)

    def write_trip(self, *, replaces: Trip | None = None, why: str = "") -> tuple[Trip, str]:
        """The trip, and what is wrong with coordinates that cannot be any: they are kept in its note."""
        entry = self.trip
        doubtful = refuse_position(_degrees(entry.latitude), _degrees(entry.longitude))
        if doubtful:
            written = f"coordinates as written: {entry.latitude}, {entry.longitude}"
            note = f"{entry.note}\n{written}".strip()
            entry = replace(entry, latitude=None, longitude=None, note=note)
        trip = make_trip(entry, self.permits[entry.permit], by=self.by, when=self.when)
        trip.replaces, trip.why = replaces, why
        trip.save()
        TripPerson.objects.bulk_create(
            [TripPerson(trip=trip, person=self.people[name]) for name in dict.fromkeys(entry.people)]
        )
        return trip, doubtful

    def _taxa(self) -> dict[str, Taxon]:
        return taxa_of(self.names, where=f"trip of {self.trip.happened}", by=self.by, now=self.when.now)

    def _take(self, trip: Trip, entry: TakeEntry, taxon: Taxon) -> Take:
        permit = self.permits[entry.permit or self.trip.permit]
        read = self.reads[permit.pk]
        line = entry.line or line_for(animal_of(taxon), read.covers)
        return Take(
            identifier=entry.identifier,
            ref=entry.ref,
            trip=trip,
            permit=permit,
            line_number=line,
            taxon=taxon,
            verbatim_identification=entry.name.strip(),
            identification_qualifier=taxon.identification_qualifier,
            caught=entry.caught,
            let_go=entry.let_go,
            died=entry.died,
            kept=entry.kept,
            unit=entry.unit or taxon.unit or "animal",
            into_stock=entry.into_stock,
            bycatch=entry.bycatch,
            sex=entry.sex,
            stage=entry.stage,
            size_mm=entry.size_mm,
            berried=entry.berried,
            remarks=entry.remarks,
            entered_at=self.when.entered,
            entered_by=self.by,
            recorded_at=self.when.now,
        )


def make_trip(entry: TripEntry, permit: Permit, *, by: Person, when: When) -> Trip:
    """The row of a trip, not written yet."""
    happened = entry.happened
    start = happened.start.date() if isinstance(happened.start, datetime) else happened.start
    return Trip(
        identifier=entry.identifier,
        ref=entry.ref,
        permit=permit,
        happened=str(happened),
        starts_on=start,
        ends_on=happened.day,
        locality=entry.locality,
        latitude=entry.latitude,
        longitude=entry.longitude,
        datum=entry.datum if entry.latitude is not None else "",
        uncertainty_m=entry.uncertainty_m,
        depth_from_m=entry.depth_from_m,
        depth_to_m=entry.depth_to_m,
        gear=entry.gear,
        vessel=entry.vessel,
        note=entry.note,
        device=entry.device,
        entered_at=when.entered,
        entered_by=by,
        recorded_at=when.now,
    )


@transaction.atomic
def correct_trip(
    *,
    trip: Trip,
    entry: TripEntry,
    why: str,
    by: Person,
    now: datetime,
    zone: tzinfo,
    entered_at: datetime | None = None,
) -> Recorded:
    """Replaces what was written of a trip; its takes stay with it. Raises :class:`TripRefused`.

    The day of a trip whose animals are in the stock stands in the ledger too: it is not changed here.
    """
    serialize_writers()
    newest = Trip.objects.get(pk=trip_chains().newest(trip.pk))
    when = When(now, entered_at)
    slip = _Slip(entry, (), by, when, zone)
    slip.check()
    takes = current_takes(trips=[newest.pk])
    same_days = (entry.happened.start, entry.happened.end) == (newest.starts_on, newest.ends_on)
    if same_days:
        # The hour that somebody once wrote is not lost to a form that asks for days.
        entry = replace(entry, happened=parse_happened(newest.happened))
    elif any(take.event_ids for take in takes):
        message = (
            f"its animals stand in the book since {newest.happened}; correct the takes first, "
            "or keep the day and say it in the note"
        )
        raise TripRefused([Problem(_TRIP, entry.origin, "happened", message)])
    row, _ = slip.write_trip(replaces=newest, why=why)
    permits = {take.take.permit_id for take in takes} | {newest.permit_id, row.permit_id}
    cases = review_cases(trip=row.pk, permits=permits, by=by, at=when.entered, zone=zone, why=why)
    return Recorded(row, [take.take for take in takes], cases)


def _degrees(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
