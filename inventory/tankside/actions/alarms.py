"""Raises alarms with the death that makes them, and notes who has seen them."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from django.db.models import Q

from inventory.book.models import Cell, Event, Flow, Lot, Place
from inventory.book.queries.settings import numbers_in_use
from inventory.book.rules.kinds import EventKind
from inventory.db.insert import change_row
from inventory.db.prepared import Prepared, read_ahead
from inventory.db.trips import Statement, ask
from inventory.names.models import CountClass
from inventory.people.models import Person

from ..models import Alarm, OpenLot
from ..queries.around import Surroundings
from ..rules.alarms import WINDOW, Deaths, Limits, Reason, reasons
from ..rules.eggs import is_eggs
from .booking import Booked
from .post import send_soon

# (moment, number)
Happened = tuple[tuple[datetime, int], ...]

_LOT, _PLACE = Lot._meta.get_field("id"), Place._meta.get_field("id")
_MOMENT = Flow._meta.get_field("effective_at")
_OPEN = Prepared(lambda lot: OpenLot.objects.filter(lot=lot).values_list("id"), _LOT)
_HELD = Prepared(lambda lot: Lot.objects.filter(pk=lot).values_list("held"), _LOT)
_RINGING = Prepared(
    lambda place, since: Alarm.objects.filter(
        place=place, seen_at=None, undone_at=None, raised_at__gte=since
    ).values_list("id", "reason", "lot_id"),
    _PLACE,
    _MOMENT,
)
# The cells of a place, and those of a lot in the house: number, lot, place and unit.
_ABOUT_CELL = ("id", "lot_id", "account__place_id", "lot__unit")
_CELLS_OF_PLACE = Prepared(
    lambda place: Cell.objects.filter(account__place=place).values_list(*_ABOUT_CELL), _PLACE
)
_CELLS_OF_LOT = Prepared(
    lambda lot: Cell.objects.filter(lot=lot, inside=True).values_list(*_ABOUT_CELL), _LOT
)
# What left some cells since a moment: when, how many, from which, why, and which event took it back. Nothing
# else is a condition, for PostgreSQL could begin with all deaths, or all days since, of the whole house.
_LEFT = Prepared(
    lambda cells, since: (
        Flow.objects.filter(from_cell__id__in=cells, effective_at__gte=since)
        .order_by()
        .values_list(
            "effective_at", "n", "from_cell_id", "to_cell__account__cause", "reversal", "event__reversed_by"
        )
    ),
    [Cell._meta.get_field("id")],
    _MOMENT,
)


def raise_alarms(booked: Booked, around: Surroundings) -> str:
    """Rows for what a death at the tank makes an alarm of, in the entry's own transaction; all of it in
    words. The post goes out after the commit; the entry never waits for it.
    """
    lot, place, moment = booked.lot, booked.place, booked.moment
    if lot is None or place is None or moment is None or booked.event_id is None:
        return ""
    found, changes = _raise(
        booked.event_id, lot, place, moment, limits=limits_of(around.numbers), now=around.now
    )
    booked.beside.extend(changes)
    return "; ".join(_words(reason, n, lot, place) for reason, n in found)


def alarms_of_recorded(event: Event, now: datetime) -> str:
    """The same for a death that is recorded at a desk, and for one that is taken back there. One of an
    animal that others hold is no alarm: it died under their eyes."""
    limits = limits_of(numbers_in_use())
    taken_back = event.reverses
    if taken_back is not None:
        if taken_back.kind == EventKind.DIED:
            tell_of_taken_back(taken_back, limits=limits, now=now)
        return ""
    if event.kind != EventKind.DIED:
        return ""
    said = []
    for lot, place in _lots_and_places(event):
        found, changes = _raise(event.pk, lot, place, event.effective_at, limits=limits, now=now)
        ask(changes)
        said += [_words(reason, n, lot, place) for reason, n in found]
    return f"An alarm: {'; '.join(said)}." if said else ""


def _lots_and_places(event: Event) -> list[tuple[Lot, Place]]:
    """Whose animals died where on the premises; the sexes of a lot are several cells of it."""
    cells = Cell.objects.filter(flows_out__event=event, inside=True)
    ends = {
        (cell.lot_id, cell.account_id): (cell.lot, cell.account.place)
        for cell in cells.select_related("lot__taxon", "account__place").order_by("pk")
    }
    return [(lot, place) for lot, place in ends.values() if place is not None and not place.off_site]


def _raise(
    event_id: int, lot: Lot, place: Place, moment: datetime, *, limits: Limits, now: datetime
) -> tuple[list[tuple[Reason, int]], list[Statement]]:
    """The reasons for an alarm with their numbers, and what is still to be written of those that ring.

    An alarm of the same kind for the same tank that nobody has seen yet is not raised again, for it is
    still ringing; its words tell the number that it has come to.
    """
    if is_eggs(lot.unit):
        return [], []
    since = now - WINDOW
    with read_ahead(
        _CELLS_OF_PLACE.of(place.pk),
        _CELLS_OF_LOT.of(lot.pk),
        _OPEN.of(lot.pk),
        _HELD.of(lot.pk),
        _RINGING.of(place.pk, since),
    ):
        in_tank, of_lot = _deaths(lot, place, moment)
        if _OPEN(lot.pk):
            # Nothing is held under an open name, so there is no share of it either.
            of_lot = ()
        deaths = Deaths(
            moment=moment,
            class_a=(lot.count_class or lot.taxon.count_class) == CountClass.EXACT,
            in_tank=in_tank,
            of_lot=of_lot,
            held_now=_HELD(lot.pk)[0][0],
        )
        found = reasons(deaths, limits, now=now)
        if not found:
            return [], []
        ringing = _RINGING(place.pk, since)
    alarms, changes = [], []
    for reason, n in found:
        said = _words(reason, n, lot, place)[:300]
        rings = _ringing(reason, lot, ringing)
        if rings is not None:
            # Whoever looks reads how many there are now.
            changes.append(change_row(Alarm, rings, words=said))
            continue
        alarms.append(
            Alarm(
                reason=reason,
                event_id=event_id,
                place=place,
                lot=lot,
                words=said,
                raised_at=now,
                next_try_at=now,
            )
        )
    if alarms:
        Alarm.objects.bulk_create(alarms)
        send_soon()
    return found, changes


def limits_of(numbers: Mapping[str, int]) -> Limits:
    """The house's own numbers."""
    return Limits(numbers["mass_death_in_day"], numbers["mass_death_lot_percent"])


def tell_of_taken_back(event: Event, *, limits: Limits, now: datetime) -> None:
    """After a death was taken back: alarms that nobody has seen yet tell the number that is left.

    One that is none any more says "undone" and stays until somebody has seen it, for its post may have gone
    out; if not, it does not go. Whoever reaches the number again raises a new one.
    """
    cells = Cell.objects.filter(flows_out__event=event)
    near = Q(event=event) | Q(place__in=cells.values("account__place"), reason=Reason.TANK)
    near |= Q(lot__in=cells.values("lot"), reason=Reason.LOT)
    unseen = Alarm.objects.select_related("event", "lot__taxon", "place").filter(
        near, seen_at=None, undone_at=None
    )
    for alarm in unseen:
        in_tank, of_lot = _deaths(alarm.lot, alarm.place, alarm.event.effective_at)
        deaths = Deaths(
            moment=alarm.event.effective_at,
            class_a=alarm.event_id != event.pk,
            in_tank=in_tank,
            of_lot=of_lot,
            held_now=_HELD(alarm.lot_id)[0][0],
        )
        left = dict(reasons(deaths, limits, now=alarm.raised_at))
        reason = Reason(alarm.reason)
        if reason in left:
            alarm.words = _words(reason, left[reason], alarm.lot, alarm.place)[:300]
        else:
            alarm.words, alarm.undone_at = f"undone: {alarm.words}"[:300], now
            if alarm.mailed_at is None and alarm.next_try_at is not None:
                alarm.next_try_at, alarm.mail_trouble = None, "undone before it went out"
        alarm.save(update_fields=["words", "undone_at", "next_try_at", "mail_trouble"])


def see_alarm(alarm: Alarm, *, by: Person, now: datetime) -> bool:
    """Notes who has seen it. False when somebody was faster: the first name stays."""
    return bool(Alarm.objects.filter(pk=alarm.pk, seen_at=None).update(seen_at=now, seen_by=by))


def _deaths(lot: Lot, place: Place, moment: datetime) -> tuple[Happened, Happened]:
    """Deaths from a day before ``moment`` on that were not taken back: in the tank, and of the lot. Three
    queries."""
    cells = {cell: told for cell, *told in _CELLS_OF_PLACE(place.pk) + _CELLS_OF_LOT(lot.pk)}
    deaths = [
        (at, n, *cells[cell])
        for at, n, cell, cause, reversal, reversed_by in _LEFT(cells, moment - WINDOW)
        if cause == EventKind.DIED and not reversal and reversed_by is None
    ]
    in_tank = tuple((at, n) for at, n, _, where, unit in deaths if where == place.pk and not is_eggs(unit))
    return in_tank, tuple((at, n) for at, n, whose, _, _ in deaths if whose == lot.pk)


def _ringing(reason: Reason, lot: Lot, alarms: Sequence[tuple[int, str, int]]) -> int | None:
    """The alarm that rings for the same already; each death of class A rings for itself."""
    for number, why, of_lot in alarms:
        same = reason is Reason.TANK or (reason is Reason.LOT and of_lot == lot.pk)
        if same and why == reason:
            return number
    return None


def _words(reason: Reason, n: int, lot: Lot, place: Place) -> str:
    animal = lot.house_name or lot.taxon.common_name or lot.taxon.scientific_name
    if reason is Reason.TANK:
        return f"{n} dead within 24 hours in {place.name} ({place.code})"
    if reason is Reason.LOT:
        return f"{n} dead within 24 hours of {animal} ({lot.accession})"
    return f"{animal} ({lot.accession}) dead, class A, in {place.name} ({place.code})"
