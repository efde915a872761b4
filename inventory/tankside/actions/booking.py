"""Books one entry as an event of the ledger, and says what needs somebody's eye. Inside a transaction."""

from dataclasses import dataclass, field
from datetime import datetime

from inventory.book.actions import post
from inventory.book.actions.post import LedgerRefused, post_event
from inventory.book.models import Cell, Flag, Lot, LotKind, Place
from inventory.book.models.flags import FlagKind
from inventory.db.insert import insert_few
from inventory.db.prepared import Prepared, Question
from inventory.db.trips import Statement
from inventory.people.models import Person

from ..models import Body, Entry
from ..queries.around import Surroundings
from ..queries.doubles import asked_twin, twin_of
from ..queries.quarantine import left_early_by
from ..rules import drafting, times, words
from ..rules.kinds import BODIES, EVENT_OF, OPEN_NAMES, TAKES, EntryKind
from ..rules.stated import ComesBack, Stated, Trouble, comes_back
from .bodies import asked_whether_told, keep_body, must_state_body
from .eggs import lot_of_eggs
from .open_names import lot_of_open_name

_HELD = Prepared(
    lambda lot, place: Cell.objects.filter(lot=lot, account__place=place, inside=True).values_list("balance"),
    Lot._meta.get_field("id"),
    Place._meta.get_field("id"),
)
# What the ledger calls a column, by what the interface calls a field.
_FIELDS = {"accession": "lot", "to_accession": "to_lot", "entered_by": "person", "entered": "saved_at"}


@dataclass(slots=True)
class Booked:
    """What came of one entry."""

    words: str
    event_id: int | None = None
    # From when the book counts it.
    moment: datetime | None = None
    person: Person | None = None
    place: Place | None = None
    lot: Lot | None = None
    undoes: Entry | None = None
    flags: list[tuple[FlagKind, str]] = field(default_factory=list)
    # What is told with the answer and has its owner elsewhere: (kind, words).
    told: list[tuple[str, str]] = field(default_factory=list)
    alarm: str = ""
    # Whether it can be undone for some minutes.
    undoable: bool = False
    # What is written beside the entry, which nothing before needs to see.
    beside: list[Statement] = field(default_factory=list)


def refused(error: LedgerRefused) -> ComesBack:
    """The ledger's problems in the interface's fields."""
    return ComesBack(*(Trouble(_FIELDS.get(one.column, one.column), one.message) for one in error.problems))


class HalfDone(Exception):
    """The database refused what was being written; without a savepoint the transaction is over."""


def refused_before_written(entry: Stated | None) -> bool:
    """Whether what can be refused of an entry is refused before anything of it is written."""
    if entry is None:
        return True
    # An open name and eggs may make a lot first.
    return entry.kind in EVENT_OF and entry.kind is not EntryKind.EGGS and not entry.open_name


def will_ask(entry: Stated | None, around: Surroundings) -> list[Question | None]:
    """What booking asks before it writes, as far as it is known now; nothing where it is not."""
    if entry is None or not refused_before_written(entry):
        return []
    author, place = around.authors.get(entry.person or 0), around.places.get(entry.place)
    lot = around.lots.get(entry.to_lot if entry.kind is EntryKind.HATCHED and entry.to_lot else entry.lot)
    if author is None or place is None or lot is None:
        return []
    person, minutes = author.person, around.numbers["double_entry_minutes"]
    asked = [
        *post.will_ask(identifier=entry.identifier, lots={lot.accession: lot.pk}, person=person.name),
        asked_twin(entry, place=place, lot=lot, minutes=minutes),
    ]
    if _is_held_against_book(entry, lot):
        asked.append(_HELD.of(lot.pk, place.pk))
    if entry.kind in BODIES and entry.body is None:
        asked.append(asked_whether_told(lot))
    return asked


def book_event(
    entry: Stated, around: Surroundings, person: Person, saved: datetime, *, savepoint: bool = True
) -> Booked:
    """Posts the event of a checked entry. Raises :class:`ComesBack`; then nothing is kept.

    Without a ``savepoint`` raises :class:`HalfDone` where a savepoint would be needed.
    """
    place = place_of(entry, around)
    lot = _lot_of(entry, around, place)
    if entry.to_place and entry.to_place not in around.places:
        raise comes_back("to_place", f"there is no place {entry.to_place!r} in this house")
    too_many = _more_than_book(entry, lot, place)
    if too_many and entry.kind is EntryKind.MOVED and not entry.more_than_book:
        raise comes_back(
            "more_than_book",
            f"that is more than the book has in {place.code}. If you count so many, say “I count more "
            "than the book” and send it again; the registrar will look into it.",
        )
    happened = times.happened(
        entry.happened,
        saved=saved,
        zone=around.zone,
        last_seen=entry.last_seen if entry.kind is EntryKind.MISSING else "",
    )
    draft = drafting.draft(
        entry,
        drafting.Around(
            author=person.name,
            device=around.device.name,
            happened=happened,
            entered_at=around.entered_at(entry, happened.effective_at(around.zone)),
            lot=lot.accession,
        ),
    )
    try:
        posted = post_event(draft, now=around.now, zone=around.zone, savepoint=savepoint)
    except LedgerRefused as error:
        if error.late and not savepoint:
            raise HalfDone from error
        raise refused(error) from error
    booked = Booked(
        words=words.confirmation(entry, _named(entry, around, lot, place), happened),
        event_id=posted.event_id,
        moment=happened.effective_at(around.zone),
        person=person,
        place=place,
        lot=lot,
        undoable=True,
    )
    if too_many:
        booked.flags.append((FlagKind.MORE_THAN_BOOK, f"more than the book held in {place.code}"))
    if entry.kind in OPEN_NAMES and entry.open_name:
        booked.flags.append((FlagKind.OPEN_NAME, "the species is still open"))
    _doubles(entry, around, booked)
    if entry.kind in BODIES:
        _body(entry, around, booked)
    if entry.kind is EntryKind.MOVED:
        _early(booked, around)
    return booked


def book_dead_on_arrival(entry: Stated, around: Surroundings, person: Person, saved: datetime) -> Booked:
    """A shipment of which nothing lived: the entry itself, for the dead on arrival never enter the stock.

    The book does not change; the registrar is asked to count them with the take or the delivery.
    """
    place = place_of(entry, around)
    if entry.lot not in around.lots:
        raise comes_back("lot", f"there is no lot {entry.lot!r} in this house")
    lot = around.lots[entry.lot]
    happened = times.happened(entry.happened, saved=saved, zone=around.zone)
    return Booked(
        words=words.confirmation(entry, _named(entry, around, lot, place), happened),
        person=person,
        place=place,
        lot=lot,
        undoable=True,
    )


def raise_flags(booked: Booked, around: Surroundings) -> None:
    """Puts what needs an eye before its owner, the registrar; without one, before who wrote it."""
    if booked.event_id is None or not booked.flags or booked.person is None:
        return
    rows = [
        {
            "kind": kind.value,
            "event_id": booked.event_id,
            "lot_id": booked.lot.pk if booked.lot else None,
            "place_id": booked.place.pk if booked.place else None,
            "owner_id": around.registrar_id or booked.person.pk,
            "raised_at": around.now,
        }
        for kind, _ in booked.flags
    ]
    booked.beside.append(insert_few(Flag, rows))


def place_of(entry: Stated, around: Surroundings) -> Place:
    """The tank that an entry names. Raises :class:`ComesBack`."""
    if entry.place not in around.places:
        raise comes_back("place", f"there is no place {entry.place!r} in this house")
    return around.places[entry.place]


def _lot_of(entry: Stated, around: Surroundings, place: Place) -> Lot:
    if entry.open_name:
        return lot_of_open_name(entry.open_name, place, now=around.now)
    for column, accession in (("lot", entry.lot), ("to_lot", entry.to_lot)):
        if accession and accession not in around.lots:
            raise comes_back(column, f"there is no lot {accession!r} in this house")
    lot = around.lots[entry.lot]
    if entry.kind is EntryKind.HATCHED and entry.to_lot:
        # Out of a lot of egg cases come animals, which are another lot.
        return around.lots[entry.to_lot]
    if entry.kind is EntryKind.EGGS:
        return lot_of_eggs(lot, place, stage=entry.stage)
    return lot


def _more_than_book(entry: Stated, lot: Lot, place: Place) -> bool:
    """Whether a group is asked for more than it has there now; of an individual the ledger itself says it."""
    if not _is_held_against_book(entry, lot):
        return False
    held: int = sum(balance for (balance,) in _HELD(lot.pk, place.pk))
    return entry.numbers.total > max(held, 0)


def _is_held_against_book(entry: Stated, lot: Lot) -> bool:
    return entry.kind in TAKES and lot.kind != LotKind.INDIVIDUAL and not entry.open_name


def _named(entry: Stated, around: Surroundings, lot: Lot, place: Place) -> words.Named:
    taxon = lot.taxon
    to_place = around.places.get(entry.to_place)
    return words.Named(
        animal=lot.house_name or taxon.common_name or taxon.scientific_name,
        unit=lot.unit,
        individual=lot.kind == LotKind.INDIVIDUAL,
        place=place.name,
        to_place=to_place.name if to_place else "",
        today=around.today,
    )


def _doubles(entry: Stated, around: Surroundings, booked: Booked) -> None:
    """The same person, tank, animal, kind and number within minutes: kept, and put before the registrar."""
    if booked.person is None or booked.place is None or booked.lot is None:
        return
    twin = twin_of(
        entry,
        person=booked.person,
        place=booked.place,
        lot=booked.lot,
        minutes=around.numbers["double_entry_minutes"],
    )
    if twin is not None:
        at = f"{twin.astimezone(around.zone):%H:%M}"
        booked.flags.append((FlagKind.DOUBLE, f"looks like the entry of {at}: both are kept"))


def _early(booked: Booked, around: Surroundings) -> None:
    """A move out of quarantine before the days are full: told to who does it, while they can be brought back.

    It is booked all the same. Curator and veterinarian find it on their page Today.
    """
    if booked.event_id is None or booked.lot is None or booked.place is None:
        return
    early = left_early_by(booked.event_id, booked.lot, booked.place, now=around.now)
    if early is not None:
        booked.told.append(
            (
                "quarantine",
                f"the days in {booked.place.name} are full on {early.due} and no release is signed: ask the "
                "veterinarian now; it stands on the page of veterinarian and curator",
            )
        )


def _body(entry: Stated, around: Surroundings, booked: Booked) -> None:
    event, lot, person = booked.event_id, booked.lot, booked.person
    if event is None or lot is None or person is None:
        return
    if entry.body is None:
        if must_state_body(lot):
            booked.flags.append((FlagKind.BODY, "say what became of the body"))
        return
    kept = keep_body(event=event, body=entry.body, by=person, now=around.now)
    if isinstance(kept, Body):
        return
    booked.flags.append((FlagKind.BODY, kept))
