"""Corrects a take, or moves it to another permit: a new row that replaces it, and the ledger with it."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo
from uuid import UUID, uuid4

from django.db import transaction

from inventory.book.actions.post import LedgerRefused, post_events
from inventory.book.models import Event
from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers, Problem
from inventory.book.rules.happened import parse_happened
from inventory.book.rules.kinds import EventKind
from inventory.db.locks import serialize_writers
from inventory.people.models import Person

from ..models import Permit, Take, TakeEvent
from ..queries.field_names import read_field_names
from ..queries.reading import animal_of, read_permit
from ..queries.takes import current_takes, place_of_events
from ..rules.scopes import line_for
from .cases import review_cases
from .entries import Recorded, TakeEntry, TripRefused, When, adds_up, sex_unknown
from .field_names import taxa_of
from .stocking import Stocking

_COLUMNS = {"male": "males", "female": "females", "hermaphrodite": "hermaphrodites", "unknown": "unknown"}


@transaction.atomic
def correct_take(
    *,
    take: Take,
    entry: TakeEntry,
    why: str,
    by: Person,
    now: datetime,
    zone: tzinfo,
    entered_at: datetime | None = None,
) -> Recorded:
    """Replaces ``take`` by what ``entry`` says; what it brought into the stock is entered anew.

    Where the stock does not change the ledger is left alone. Raises :class:`TripRefused`.
    """
    serialize_writers()
    _check(take, entry, why)
    when = When(now, entered_at)
    row = _copy(take, by=by, when=when, why=why)
    row.identifier, row.ref = entry.identifier, entry.ref
    row.verbatim_identification = entry.name.strip()
    row.caught, row.let_go, row.died, row.kept = entry.caught, entry.let_go, entry.died, entry.kept
    row.unit, row.into_stock = entry.unit or take.unit, entry.into_stock
    row.bycatch, row.sex, row.stage = entry.bycatch, entry.sex, entry.stage
    row.size_mm, row.berried, row.remarks = entry.size_mm, entry.berried, entry.remarks
    if row.verbatim_identification != take.verbatim_identification:
        entry = _name_again(take, row, entry, by=by, when=when)
    if entry.line is not None:
        row.line_number = entry.line
    before = _events_of(take)
    # What waited for the desk comes into the stock when it gets its place.
    waited = not before and bool(row.kept) and bool(entry.place)
    if entry.events or waited or _stock_differs(take, row, entry):
        events = _into_stock_again(take, row, entry, before, by=by, when=when, zone=zone)
    else:
        row.lot_id, events = take.lot_id, before
    return _replace(take, row, events, {take.permit_id}, by=by, when=when, zone=zone, why=why)


@transaction.atomic
def move_take(
    *,
    take: Take,
    to: Permit,
    why: str,
    by: Person,
    now: datetime,
    zone: tzinfo,
    entered_at: datetime | None = None,
    approved_by: str = "",
    events: Sequence[UUID] = (),
    identifier: UUID | None = None,
    ref: str = "",
) -> Recorded:
    """Books a take on another permit; the row before stays, with who moved it, when and why.

    The events that brought it into the stock are taken back and entered again under the new number,
    unless ``events`` name those where that was done. An animal recorded by itself that has been moved
    since cannot be taken back: its event keeps the old number, and the take says which permit it is.
    Raises :class:`TripRefused`.
    """
    serialize_writers()
    if take.permit_id == to.pk:
        raise _refused("permit", f"it is on {to.number} already")
    if not why.strip():
        raise _refused("why", "say why it is moved")
    when = When(now, entered_at)
    row = _copy(take, by=by, when=when, why=why)
    row.permit, row.identifier, row.ref = to, identifier or uuid4(), ref
    covers = read_permit(to, on=_newest_day(take)).covers
    row.line_number = line_for(animal_of(take.taxon), covers) if take.taxon else None
    before = _events_of(take)
    if events:
        found = dict(Event.objects.filter(identifier__in=events).values_list("identifier", "id"))
        missing = [str(one) for one in events if one not in found]
        if missing:
            raise _refused("events", f"no such event is in the book: {', '.join(missing)}")
        new = [found[one] for one in events]
    else:
        new = _renumber(before, take, to, by=by, when=when, zone=zone, approved_by=approved_by, why=why)
    touched = {take.permit_id, to.pk}
    return _replace(take, row, new, touched, by=by, when=when, zone=zone, why=why)


def _name_again(take: Take, row: Take, entry: TakeEntry, *, by: Person, when: When) -> TakeEntry:
    """Reads another name as that of a fresh slip; another kind of animal does not stay in the lot."""
    read = read_permit(take.permit, on=_newest_day(take))
    names = read_field_names([entry.name], [read])
    taxon = taxa_of(names, where=f"trip of {take.trip.happened}", by=by, now=when.now)[entry.name]
    row.taxon, row.identification_qualifier = taxon, taxon.identification_qualifier
    row.line_number = line_for(animal_of(taxon), read.covers)
    same_lot = take.lot is not None and entry.lot in ("", take.lot.accession)
    if same_lot and taxon.pk != take.taxon_id:
        return replace(entry, lot="", place=entry.place or place_of_events(_events_of(take)))
    return entry


def _events_of(take: Take) -> list[int]:
    return [link.event_id for link in take.events.all()]


def _check(take: Take, entry: TakeEntry, why: str) -> None:
    if Take.objects.filter(replaces=take).exists():
        raise _refused("", "it was corrected already; correct the row that stands")
    wrong = adds_up(entry)
    # A take of nothing is how a row that should not be there is taken out.
    if wrong and (entry.caught or entry.let_go or entry.died or entry.kept):
        raise _refused("caught", wrong)
    if wrong := sex_unknown(entry):
        raise _refused("sex", wrong)
    if not why.strip():
        raise _refused("why", "say why it is corrected")


def _refused(column: str, message: str) -> TripRefused:
    return TripRefused([Problem(0, "", column, message)])


def _copy(take: Take, *, by: Person, when: When, why: str) -> Take:
    row = Take.objects.get(pk=take.pk)
    row.pk = None
    row._state.adding = True
    row.replaces, row.why = take, why
    row.entered_at, row.entered_by, row.recorded_at = when.entered, by, when.now
    return row


def _replace(
    take: Take,
    row: Take,
    events: Collection[int],
    permits: Collection[int],
    *,
    by: Person,
    when: When,
    zone: tzinfo,
    why: str,
) -> Recorded:
    if Take.objects.filter(replaces=take).exists():
        raise _refused("", "it was corrected already; correct the row that stands")
    row.save()
    TakeEvent.objects.bulk_create([TakeEvent(take=row, event_id=event) for event in events])
    cases = review_cases(trip=row.trip_id, permits=permits, by=by, at=when.entered, zone=zone, why=why)
    return Recorded(row.trip, [row], cases)


def _newest_day(take: Take) -> date:
    return next(iter(current_takes(trips=[take.trip_id]))).trip.ends_on


def _stock_differs(take: Take, row: Take, entry: TakeEntry) -> bool:
    """True when another number, sex, stage or lot goes into the stock than before."""
    lot = take.lot.accession if take.lot else ""
    before = _stock(take), take.sex, take.stage, take.taxon_id, lot
    return before != (_stock(row), row.sex, row.stage, row.taxon_id, entry.lot or lot)


def _stock(take: Take) -> int:
    return take.kept if take.into_stock is None else take.into_stock


def _into_stock_again(
    take: Take,
    row: Take,
    entry: TakeEntry,
    before: Sequence[int],
    *,
    by: Person,
    when: When,
    zone: tzinfo,
) -> list[int]:
    """The events of a corrected take: those that it names, or new ones in place of the old."""
    stocking = Stocking(parse_happened(_happened(take)), by=by, when=when, zone=zone)
    if not entry.events:
        place = entry.place or place_of_events(before)
        own = take.lot.accession if take.lot and take.taxon_id == row.taxon_id else ""
        lot = entry.lot or own
        entry = replace(entry, place=place, lot=lot)
        if before:
            _take_back(before, take, by=by, when=when, zone=zone, why=row.why)
    row.lot = None
    stocking.add(0, row, entry)
    return stocking.post().get(0, [])


def _happened(take: Take) -> str:
    return next(iter(current_takes(trips=[take.trip_id]))).trip.happened


@dataclass(slots=True)
class _Brought:
    """One line of an event that brought animals of several takes."""

    line: DraftLine
    taxon: int


def _lines_of(event: Event) -> list[_Brought]:
    flows = event.flows.select_related("to_cell__lot", "to_cell__account__place").order_by("id")
    return [
        _Brought(
            DraftLine(
                lot=flow.to_cell.lot.accession,
                place=flow.to_cell.account.place.code if flow.to_cell.account.place else "",
                numbers=Numbers(**{_COLUMNS[flow.to_cell.sex]: flow.n}),
                stage=flow.to_cell.stage,
            ),
            flow.to_cell.lot.taxon_id,
        )
        for flow in flows
    ]


def _take_back(events: Sequence[int], take: Take, *, by: Person, when: When, zone: tzinfo, why: str) -> None:
    """Takes the events of a take back; what they brought for other takes is entered again."""
    drafts = []
    others: list[tuple[Event, EventDraft]] = []
    for event in Event.objects.filter(pk__in=events):
        drafts.append(_reversal(event, by=by, when=when, zone=zone, why=why))
        rest = [one.line for one in _lines_of(event) if one.taxon != take.taxon_id]
        if rest:
            again = _again(event, rest, permit=event.permit_number, by=by, when=when, approved_by="")
            others.append((event, again))
            drafts.append(again)
    _post(drafts, when=when, zone=zone)
    _point_others(others, take)


def _renumber(
    events: Sequence[int],
    take: Take,
    to: Permit,
    *,
    by: Person,
    when: When,
    zone: tzinfo,
    approved_by: str,
    why: str,
) -> list[int]:
    """Events of a take under another permit's number; as they were where the ledger cannot do it."""
    drafts = []
    mine: list[EventDraft] = []
    others: list[tuple[Event, EventDraft]] = []
    for event in Event.objects.filter(pk__in=events):
        drafts.append(_reversal(event, by=by, when=when, zone=zone, why=why, approved_by=approved_by))
        parts: dict[bool, list[DraftLine]] = {True: [], False: []}
        for one in _lines_of(event):
            parts[one.taxon == take.taxon_id].append(one.line)
        mine.append(_again(event, parts[True], permit=to.number, by=by, when=when, approved_by=approved_by))
        if parts[False]:
            again = _again(
                event, parts[False], permit=event.permit_number, by=by, when=when, approved_by=approved_by
            )
            others.append((event, again))
    drafts += [*mine, *(draft for _, draft in others)]
    try:
        with transaction.atomic():
            _post(drafts, when=when, zone=zone)
    except TripRefused:
        return list(events)
    _point_others(others, take)
    found = Event.objects.filter(identifier__in=[draft.identifier for draft in mine])
    return list(found.values_list("id", flat=True))


def _post(drafts: Sequence[EventDraft], *, when: When, zone: tzinfo) -> None:
    try:
        post_events(drafts, now=when.now, zone=zone)
    except LedgerRefused as refused:
        raise TripRefused(refused.problems) from refused


def _point_others(others: Sequence[tuple[Event, EventDraft]], take: Take) -> None:
    """Other takes of an event that was entered again point to the new one too."""
    made = Event.objects.in_bulk([draft.identifier for _, draft in others], field_name="identifier")
    links = [
        TakeEvent(take_id=other, event=made[draft.identifier])
        for event, draft in others
        for other in TakeEvent.objects.filter(event=event, take__replaced_by=None)
        .exclude(take=take)
        .values_list("take_id", flat=True)
    ]
    TakeEvent.objects.bulk_create(links)


def _reversal(
    event: Event, *, by: Person, when: When, zone: tzinfo, why: str, approved_by: str = ""
) -> EventDraft:
    return EventDraft(
        identifier=uuid4(),
        kind=EventKind.REVERSED,
        happened=parse_happened(f"{when.entered.astimezone(zone):%Y-%m-%d}"),
        entered_by=by.name,
        entered_at=when.entered_at,
        approved_by=approved_by,
        reason=why[:120],
        reverses=event.identifier,
    )


def _again(
    event: Event,
    lines: Sequence[DraftLine],
    *,
    permit: str,
    by: Person,
    when: When,
    approved_by: str,
) -> EventDraft:
    return EventDraft(
        identifier=uuid4(),
        kind=EventKind.TAKEN,
        happened=parse_happened(event.happened),
        entered_by=by.name,
        entered_at=when.entered_at,
        lines=tuple(lines),
        approved_by=approved_by,
        party=event.party,
        permit_number=permit,
        evidence=event.evidence,
        note=event.note,
    )
