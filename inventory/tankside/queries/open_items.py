"""What came from the tanks and waits for somebody: alarms, open names, questions, entries that came back."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import BooleanField, Exists, OuterRef, Q, QuerySet, Value

from inventory.book.models import Cell, Flag, Lot
from inventory.book.models.flags import FlagKind
from inventory.book.queries import story
from inventory.book.queries.story import EventTold
from inventory.people.models import Person

from ..models import Alarm, Entry, OpenLot, Outcome
from ..rules import open_names
from ..rules.kinds import EntryKind
from .unlisted import unlisted

# Ticked off by looking at them; open names and doubles have pages of their own.
QUESTIONS = (FlagKind.CLOCK, FlagKind.AUTHOR, FlagKind.BODY, FlagKind.MORE_THAN_BOOK)
# Alarms that were seen stay on their page for so long.
SEEN_ALARMS = timedelta(days=31)


def unseen_alarms() -> QuerySet[Alarm]:
    """Alarms that nobody has seen yet, the newest first."""
    return Alarm.objects.filter(seen_at=None).select_related("place", "lot", "event__entered_by")


def alarms(*, now: datetime) -> QuerySet[Alarm]:
    """Those not seen, and those of the last month; ``taken_back`` tells of deaths that were none."""
    recent = Q(seen_at=None) | Q(raised_at__gte=now - SEEN_ALARMS)
    return (
        Alarm.objects.filter(recent)
        .select_related("place", "lot", "event__entered_by", "event__reversed_by", "seen_by")
        .order_by("-raised_at", "-id")
    )


def questions() -> QuerySet[Flag]:
    """What accepted entries left open, the oldest first."""
    return (
        Flag.objects.filter(kind__in=QUESTIONS, settled_at=None)
        .select_related("event__entered_by", "owner", "place", "lot")
        .order_by("raised_at", "id")
    )


def dead_on_arrival() -> QuerySet[Entry]:
    """What arrived with dead among it, or all dead, and nobody has counted yet; the oldest first."""
    return (
        Entry.objects.filter(
            outcome=Outcome.SENT,
            kind=EntryKind.ARRIVED,
            body__dead_on_arrival__gt=0,
            set_aside=None,
            undone_by=None,
            event__reversed_by=None,
        )
        .select_related("person", "device", "place", "lot__taxon")
        .order_by("id")
    )


def to_look_into(*, hidden: Collection[int]) -> tuple[list[Entry], list[Entry]]:
    """Animals on no list, and what arrived dead, in one query: the page Today asks for both each time."""
    on_no_list, dead = (
        asked.exclude(place__in=hidden)
        .select_related(None)
        .select_related("person")
        .order_by()
        .annotate(is_dead=Value(is_dead, output_field=BooleanField()))
        for asked, is_dead in ((unlisted(), False), (dead_on_arrival(), True))
    )
    found = list(on_no_list.union(dead, all=True).order_by("id"))
    return [one for one in found if not one.is_dead], [one for one in found if one.is_dead]


def came_back(person: Person | None = None) -> QuerySet[Entry]:
    """Entries that came back and were neither sent corrected nor set aside, the newest first.

    Of ``person``, or of everybody.
    """
    entries = Entry.objects.filter(outcome=Outcome.CAME_BACK, set_aside=None)
    if person is not None:
        entries = entries.filter(person=person)
    later = Entry.objects.filter(id__gt=OuterRef("pk"))
    return (
        entries.exclude(Exists(later.filter(replaces=OuterRef("identifier"))))
        .exclude(Exists(Entry.objects.filter(identifier=OuterRef("identifier"), outcome=Outcome.SENT)))
        .select_related("person", "device", "place", "lot__taxon")
        .order_by("-id")
    )


@dataclass(frozen=True, slots=True)
class OpenNameRow:
    """A death whose species is open, with the lots that it may have been."""

    flag: Flag
    told: EventTold
    label: str
    choices: list[Lot]


def open_name_flags() -> QuerySet[Flag]:
    """Events whose species is open, the oldest first."""
    return (
        Flag.objects.filter(kind=FlagKind.OPEN_NAME, settled_at=None)
        .select_related("event", "owner", "place", "lot")
        .order_by("raised_at", "id")
    )


def open_name_rows(*, hidden: Collection[int] = ()) -> list[OpenNameRow]:
    """Open names with their choices: what the book ever had in that place. Seven queries."""
    flags = [flag for flag in open_name_flags() if flag.place_id not in hidden]
    told = story.tell([flag.event_id for flag in flags])
    keys = dict(
        OpenLot.objects.filter(lot__in=[flag.lot_id for flag in flags if flag.lot_id]).values_list(
            "lot_id", "key"
        )
    )
    by_place = _lots_by_place({flag.place_id for flag in flags if flag.place_id})
    rows = []
    for flag in flags:
        of = open_names.meant(keys.get(flag.lot_id or 0, ""))
        if of is None:
            continue
        choices = [lot for lot in by_place.get(flag.place_id or 0, ()) if may_be(lot, of)]
        rows.append(OpenNameRow(flag, told[flag.event_id], open_names.label_of(of), choices))
    return rows


def may_be(lot: Lot, of: open_names.Meant) -> bool:
    """Whether the animals of an open name may have been of this lot."""
    taxon = lot.taxon
    belongs = (
        taxon.look_alike_set == of.of
        if of.is_set
        else open_names.genus_of(taxon.genus, taxon.scientific_name) == of.of
    )
    return belongs and lot.unit == of.unit


def _lots_by_place(places: Collection[int]) -> dict[int, list[Lot]]:
    """Lots with animals there now, or ever, by place; open lots left out."""
    pairs = list(
        Cell.objects.filter(account__place__in=places, inside=True)
        .exclude(lot__open_lot__isnull=False)
        .order_by("lot__taxon__scientific_name", "lot__accession")
        .values_list("account__place_id", "lot_id")
        .distinct()
    )
    lots = Lot.objects.select_related("taxon").in_bulk({lot for _, lot in pairs})
    found: dict[int, list[Lot]] = {}
    for place, lot in pairs:
        found.setdefault(place, []).append(lots[lot])
    return found


def entries_of(*, place: str = "", lot: str = "", hidden: Collection[int] = ()) -> QuerySet[Entry]:
    """What came from devices, of a place or a lot, the newest first."""
    entries = Entry.objects.select_related(
        "person", "device", "place", "lot__taxon", "event__reversed_by", "undone_by"
    ).exclude(place__in=hidden)
    if place:
        entries = entries.filter(place__code=place)
    if lot:
        entries = entries.filter(lot__accession=lot)
    return entries.order_by("-id")
