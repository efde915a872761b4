"""Entries and events that look like one."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from inventory.book.models import Flag, Flow, Lot, LotKind, Place
from inventory.book.models.flags import FlagKind
from inventory.book.queries import story
from inventory.book.queries.settings import numbers_in_use
from inventory.book.queries.story import EventTold
from inventory.book.rules.kinds import EventKind
from inventory.db.prepared import Prepared, Question
from inventory.people.models import Person

from ..models import DoubleDecision, Entry
from ..rules.doubles import Alike, Happening, looks_like_one, pairs
from ..rules.kinds import EVENT_OF
from ..rules.stated import Stated

# How far back the list looks; a suspicion that is still open reaches further.
LOOKS_BACK = timedelta(days=92)
# What is entered at a tank, or typed from a slip of one. A change of sex or stage doubles nothing.
_KINDS = frozenset(EVENT_OF.values()) - {EventKind.REGROUPED}

# By the index of tank, lot and time alone; whose they are and which is the last is left to Python. With the
# person, the outcome or an order among its conditions PostgreSQL went through all entries of the house.
_TWINS = Prepared(
    lambda place, lot, kind, total, since, until: (
        Entry.objects.filter(
            place=place,
            lot=lot,
            kind=kind,
            total=total,
            saved_at__gte=since,
            saved_at__lte=until,
            event__isnull=False,
            event__reversed_by=None,
        )
        .order_by()
        .values_list("id", "person_id", "identifier", "saved_at")
    ),
    Place._meta.get_field("id"),
    Lot._meta.get_field("id"),
    Entry._meta.get_field("kind"),
    Entry._meta.get_field("total"),
    Entry._meta.get_field("saved_at"),
    Entry._meta.get_field("saved_at"),
)


def twin_of(entry: Stated, *, person: Person, place: Place, lot: Lot, minutes: int) -> datetime | None:
    """When the last other entry of the same person, tank, lot, kind and number was saved within ``minutes``.

    What was taken back meanwhile is no twin. One query.
    """
    twins = [
        (number, saved_at)
        for number, who, identifier, saved_at in _TWINS(*_alike(entry, place, lot, minutes))
        if who == person.pk and identifier != entry.identifier
    ]
    return max(twins)[1] if twins else None


def asked_twin(entry: Stated, *, place: Place, lot: Lot, minutes: int) -> Question | None:
    """What :func:`twin_of` asks, for who reads ahead."""
    return _TWINS.of(*_alike(entry, place, lot, minutes))


def _alike(entry: Stated, place: Place, lot: Lot, minutes: int) -> tuple[object, ...]:
    near = timedelta(minutes=minutes)
    return (
        *(place.pk, lot.pk, entry.kind.value, entry.numbers.total),
        *(entry.saved_at - near, entry.saved_at + near),
    )


@dataclass(frozen=True, slots=True)
class Pair:
    """Two events that look like one. ``suspected``: seen as the second came in from a tank, or by the same
    rule where they came another way: the same person, within minutes."""

    first: EventTold
    second: EventTold
    place: Place
    suspected: bool


def open_pairs(*, now: datetime, hidden: Collection[int] = ()) -> list[Pair]:
    """Pairs that nobody has decided on yet, those suspected at entry first, then the newest.

    ``hidden`` are places whose events the reader may not see now. Ten queries, however many events.
    """
    flags = Flag.objects.filter(kind=FlagKind.DOUBLE, settled_at=None)
    flagged = dict(flags.values_list("event_id", "event__effective_at"))
    numbers = numbers_in_use()
    hours, minutes = timedelta(hours=numbers["double_entry_list_hours"]), numbers["double_entry_minutes"]
    since = min([now - LOOKS_BACK, *(moment - hours for moment in flagged.values())])
    decided = set(DoubleDecision.objects.values_list("first_id", "second_id"))
    found = [
        pair
        for pair in pairs(_happenings(since), within=hours, decided=decided)
        if pair[0].alike.place not in hidden
    ]
    told = story.tell({one.event for pair in found for one in pair})
    places = Place.objects.in_bulk({pair[0].alike.place for pair in found})
    listed = [
        Pair(
            told[first.event],
            told[second.event],
            places[first.alike.place],
            suspected=second.event in flagged
            or first.event in flagged
            or looks_like_one(first, second, minutes=minutes),
        )
        for first, second in found
    ]
    return sorted(listed, key=lambda pair: not pair.suspected)


def _happenings(since: datetime) -> list[Happening]:
    """Events that stand, with their number by taxon and place. An individual is never in two."""
    ends = [f"{end}_cell__{name}" for end in ("from", "to") for name in ("account__place_id", "inside")]
    told = ("event__entered_by_id", "event__entered_at", "event__happened")
    rows = (
        Flow.objects.filter(
            effective_at__gte=since, event__kind__in=_KINDS, reversal=False, event__reversed_by=None
        )
        .exclude(from_cell__lot__kind=LotKind.INDIVIDUAL)
        .order_by()
        .values_list("event_id", "event__kind", "effective_at", "n", "from_cell__lot__taxon_id", *told, *ends)
    )
    sums: dict[tuple[int, str, datetime, int, int, int, datetime, str], int] = defaultdict(int)
    for event, kind, moment, n, taxon, by, entered, happened, from_place, from_inside, to_place, _ in rows:
        place = from_place if from_inside else to_place
        sums[event, kind, moment, taxon, place, by, entered, happened] += n
    return [
        Happening(event, moment, Alike(kind, taxon, place, n), by, entered, timed="T" in happened)
        for (event, kind, moment, taxon, place, by, entered, happened), n in sums.items()
    ]
