"""What a registrar should see to before the counters go out. A constant number of queries."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.db.models import F

from inventory.book.models import Flag, Keeping, Lot, Place
from inventory.book.rules.kinds import EventKind
from inventory.people.models import Person
from inventory.tankside.models import Entry
from inventory.tankside.models.entries import Outcome

from ..models import Census, Line, Sheet
from ..rules.states import SHEETS_REPLACED
from ..rules.words import LineKind, SheetForm, SheetState
from .holdings import holdings, of_classes

# A move that is not through: it came in and something about it is still asked, or it came back.
_MOVES = (EventKind.MOVED.value, EventKind.LOAN_OUT.value, EventKind.BACK_FROM_LOAN.value)


class WarningKind(StrEnum):
    OPEN_MOVE = "open move"
    NO_COUNTER = "no counter"
    LIST_CHANGED = "list changed"
    ONE_COUNTER = "one counter"
    SAME_TEAM = "same team"


@dataclass(frozen=True, slots=True)
class OpeningWarning:
    """One thing to see to, and the sheet that it is about."""

    kind: WarningKind
    sheet: str
    text: str


def opening_warnings(census: Census, *, now: datetime) -> list[OpeningWarning]:
    """Everything to see to, sheet by sheet; sheets that are in are past it."""
    states = (SheetState.NOT_ISSUED.value, SheetState.ISSUED.value, SheetState.STARTED.value)
    sheets = list(
        census.sheets.filter(state__in=states)
        .exclude(form=SheetForm.LETTER.value)
        .select_related("place")
        .prefetch_related("counters")
        .order_by("number")
    )
    if not sheets:
        return []
    lines = list(
        Line.objects.filter(sheet__in=sheets)
        .select_related("taxon")
        .prefetch_related("lots")
        .order_by("number")
    )
    by_sheet: dict[int, list[Line]] = defaultdict(list)
    for line in lines:
        by_sheet[line.sheet_id].append(line)
    places = {s.pk: {s.place_id, *(line.place_id for line in by_sheet[s.pk])} for s in sheets}
    moves = _open_moves()
    came = _not_listed(census, now)
    areas = _areas({person.pk for sheet in sheets for person in sheet.counters.all()}, now)
    found: list[OpeningWarning] = []
    for sheet in sheets:
        found += _of_moves(sheet, places[sheet.pk], moves)
        found += _of_counters(sheet, by_sheet[sheet.pk], areas)
        found += _of_list(sheet, by_sheet[sheet.pk], [came[place] for place in sorted(places[sheet.pk])])
    return found


def _of_moves(sheet: Sheet, places: set[int], moves: Mapping[int, list[str]]) -> Iterable[OpeningWarning]:
    told = list(dict.fromkeys(words for place in sorted(places) for words in moves.get(place, ())))
    if told:
        text = f"{sheet.number} ({sheet.place.code}): moves that are not through: {'; '.join(told)}"
        yield OpeningWarning(WarningKind.OPEN_MOVE, sheet.number, text)


def _open_moves() -> dict[int, list[str]]:
    """By place: moves with an open question, and moves from a device that came back. Two queries."""
    found: dict[int, list[str]] = defaultdict(list)
    asked = Flag.objects.filter(settled_at=None, event__kind__in=_MOVES).select_related("event")
    ends = asked.values_list(
        "event", "kind", "event__flows__from_cell__account__place", "event__flows__to_cell__account__place"
    )
    kinds = dict(Flag._meta.get_field("kind").flatchoices)
    for event, kind, *between in ends.order_by("event", "id"):
        for place in between:
            if place is not None:
                found[place].append(f"event {event}, {kinds[kind]}")
    replaced = Entry.objects.exclude(replaces=None).values("replaces")
    back = Entry.objects.filter(outcome=Outcome.CAME_BACK, kind=EventKind.MOVED.value, set_aside=None)
    back = back.exclude(place=None).exclude(identifier__in=replaced).order_by("received_at", "id")
    for place, at in back.values_list("place", "received_at"):
        found[place].append(f"a move entered at the tank on {at:%Y-%m-%d} came back and was not sent again")
    return found


def _of_counters(
    sheet: Sheet, lines: Iterable[Line], areas: Mapping[int, frozenset[int]]
) -> Iterable[OpeningWarning]:
    counters = list(sheet.counters.all())
    where = f"{sheet.number} ({sheet.place.code})"
    exact = any(line.count_class == "A" for line in lines)
    if not counters:
        yield OpeningWarning(WarningKind.NO_COUNTER, sheet.number, f"{where}: no counter is named")
    elif exact and len(counters) == 1:
        text = f"{where}: class A with {counters[0].name} alone; it is counted by two"
        yield OpeningWarning(WarningKind.ONE_COUNTER, sheet.number, text)
    elif exact and not _from_two_areas(counters, areas):
        names = " and ".join(person.name for person in sorted(counters, key=lambda one: one.name))
        text = f"{where}: class A, and {names} keep the same tanks; name somebody from another area"
        yield OpeningWarning(WarningKind.SAME_TEAM, sheet.number, text)


def _from_two_areas(counters: list[Person], areas: Mapping[int, frozenset[int]]) -> bool:
    """Two of them keep no tank together; who keeps none is of no area, and of no team."""
    none: frozenset[int] = frozenset()
    kept = [areas.get(person.pk, none) for person in counters]
    return any(one.isdisjoint(other) for k, one in enumerate(kept) for other in kept[k + 1 :])


def _areas(people: set[int], now: datetime) -> dict[int, frozenset[int]]:
    """The places that each person keeps now, with what lies below them. Two queries."""
    below: dict[int | None, list[int]] = defaultdict(list)
    for pk, parent in Place.objects.values_list("pk", "parent"):
        below[parent].append(pk)
    kept: dict[int, set[int]] = defaultdict(set)
    today = now.date()
    keeping = Keeping.objects.filter(keeper__in=people, since__lte=today).exclude(until__lt=today)
    for keeper, place in keeping.values_list("keeper", "place"):
        waiting = [place]
        while waiting:
            one = waiting.pop()
            if one not in kept[keeper]:
                kept[keeper].add(one)
                waiting += below[one]
    return {pk: frozenset(places) for pk, places in kept.items()}


def _of_list(sheet: Sheet, lines: Iterable[Line], came: Iterable[list[str]]) -> Iterable[OpeningWarning]:
    """What the printed list does not have: lines added after it was issued, animals that came since."""
    added = [
        f"line {line.number} {line.taxon or line.written_name} was added"
        for line in lines
        if sheet.issued_at and line.added_at and line.added_at > sheet.issued_at
        if line.kind != LineKind.WRITE_IN
    ]
    new = [f"{name} came and is on no line" for names in came for name in names]
    if added or new:
        when = "changed since it was issued" if sheet.issued_at else "does not have all that is there"
        text = f"{sheet.number} ({sheet.place.code}): the list {when}: {'; '.join([*added, *new])}"
        yield OpeningWarning(WarningKind.LIST_CHANGED, sheet.number, text)


def _not_listed(census: Census, now: datetime) -> dict[int, list[str]]:
    """By place, the kinds that the book holds there now and no line of the census lists."""
    listed = set(
        Line.objects.filter(sheet__census=census, lots__isnull=False)
        .exclude(sheet__state__in=[state.value for state in SHEETS_REPLACED])
        .values_list("place", "lots")
    )
    gone = [one for one in holdings(before=now) if (one.place_id, one.lot_id) not in listed]
    gone = of_classes(census, gone)
    names = dict(
        Lot.objects.filter(pk__in={one.lot_id for one in gone})
        .annotate(called=F("taxon__scientific_name"))
        .values_list("pk", "called")
    )
    found: dict[int, list[str]] = defaultdict(list)
    for one in gone:
        found[one.place_id].append(f"{names[one.lot_id]} ({one.accession})")
    return found
