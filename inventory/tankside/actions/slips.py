"""Takes a field slip: the trip with its takes and cases by the permits' own writer. Inside a transaction."""

from datetime import datetime

from inventory.people.models import Person
from inventory.permits.actions.entries import Recorded, TakeEntry, TripEntry, TripRefused
from inventory.permits.actions.trips import record_trip
from inventory.permits.models import TakeEvent

from ..queries.around import Surroundings
from ..rules import times, words
from ..rules.slips import StatedSlip, note_of, slip_words, take_identifier
from ..rules.stated import ComesBack, Stated, Trouble, comes_back
from .booking import Booked, place_of

_FIELDS = {"happened": "happened", "entered": "saved_at", "people": "slip.people", "permit": "slip.permit"}


def book_slip(entry: Stated, around: Surroundings, person: Person, saved: datetime) -> Booked:
    """Records the trip. What was kept goes to the tank that is named; else the desk brings it into the stock.

    Nothing comes back because the permit does not allow it: that becomes a case. Raises :class:`ComesBack`.
    """
    slip = entry.slip
    if slip is None:
        raise comes_back("slip", "a field slip says what was caught on which trip")
    place = place_of(entry, around) if entry.place else None
    happened = times.happened(entry.happened, saved=saved, zone=around.zone)
    trip = TripEntry(
        identifier=entry.identifier,
        permit=slip.permit,
        happened=happened,
        people=_names(slip),
        locality=slip.locality,
        latitude=slip.latitude,
        longitude=slip.longitude,
        datum=slip.datum,
        uncertainty_m=slip.uncertainty_m,
        depth_from_m=slip.depth_from_m,
        depth_to_m=slip.depth_to_m,
        gear=slip.gear,
        vessel=slip.vessel,
        note=note_of(slip, entry.note),
        device=around.device.name,
    )
    try:
        recorded = record_trip(
            trip=trip,
            takes=_takes(entry, slip),
            by=person,
            now=around.now,
            zone=around.zone,
            entered_at=around.entered_at(entry, happened.effective_at(around.zone)),
        )
    except TripRefused as refused:
        raise ComesBack(
            *(_trouble(one.draft, one.column, one.message, slip) for one in refused.problems)
        ) from (refused)
    return Booked(
        words=slip_words(slip, words.when(happened, today=around.today)),
        event_id=_first_event(recorded),
        person=person,
        place=place,
        told=_told(recorded),
    )


def _names(slip: StatedSlip) -> list[str]:
    """Names of the people, in the order in which they were written. One query."""
    names = dict(Person.objects.filter(pk__in=slip.people).values_list("pk", "name"))
    strangers = [number for number in slip.people if number not in names]
    if strangers:
        raise comes_back("slip.people", "somebody on the slip is not known here; choose the people again")
    return [names[number] for number in slip.people]


def _takes(entry: Stated, slip: StatedSlip) -> list[TakeEntry]:
    found = []
    for index, take in enumerate(slip.takes):
        place = (take.place or entry.place) if take.kept else ""
        found.append(
            TakeEntry(
                identifier=take_identifier(entry.identifier, index),
                name=take.name,
                caught=take.caught,
                let_go=take.let_go,
                died=take.died,
                kept=take.kept,
                unit=take.unit,
                bycatch=take.bycatch,
                sex=take.sex,
                size_mm=take.size_mm,
                berried=take.berried,
                place=place,
                stock_later=bool(take.kept) and not place,
                remarks=take.remarks,
            )
        )
    return found


def _trouble(index: int, column: str, message: str, slip: StatedSlip) -> Trouble:
    if index < 0:
        return Trouble(_FIELDS.get(column, f"slip.{column}"), message)
    return Trouble(f"slip.takes.{index}.{column}", f"{slip.takes[index].name}: {message}")


def _first_event(recorded: Recorded) -> int | None:
    """The entry points to one event, so that what is flagged about it has its place in the book."""
    events = TakeEvent.objects.filter(take__in=[take.pk for take in recorded.takes])
    return events.order_by("id").values_list("event_id", flat=True).first()


def _told(recorded: Recorded) -> list[tuple[str, str]]:
    """How names were read, and that there are cases; without a number, for a counter may hold the device."""
    cases = dict.fromkeys((case.permit.number, case.get_kind_display()) for case in recorded.cases)
    return [
        *(("name", said) for said in recorded.read),
        *(("permit", f"{number}: {kind}; its owner looks into it") for number, kind in cases),
    ]
