"""What the book itself says of one lot, place or permit. A constant number of queries for each."""

from collections.abc import Iterator
from datetime import date, datetime, time, tzinfo

from django.db.models import Q
from django.urls import reverse
from django.utils import timezone

from ..history import About, Subject, Told, told_by_others
from ..models import Cell, Event, Flag, Flow, Keeping, Lot, Place, RefusedEntry, WayOut

ORDERS = {"happened": "in order of happening", "entered": "in order of entry"}


def history(subject: Subject, *, order: str, zone: tzinfo) -> list[Told]:
    """All that was ever said, oldest first; of events the number only, for the page tells those it shows."""
    found = [*_events(subject), *_refused(subject), *_others(subject, zone), *told_by_others(subject)]
    if order == "entered":
        return sorted(found, key=lambda one: (one.entered_at, one.at, one.event))
    return sorted(found, key=lambda one: (one.at, one.entered_at, one.event))


def subject_of(kind: About, key: str) -> Subject | None:
    """The subject, when the book has such a lot or place, or anybody ever named such a permit."""
    if kind is About.LOT:
        pk = Lot.objects.filter(accession=key).values_list("pk", flat=True).first()
    elif kind is About.PLACE:
        pk = Place.objects.filter(code=key).values_list("pk", flat=True).first()
    else:
        return Subject(kind, key)
    return Subject(kind, key, pk) if pk else None


def touches(subject: Subject, places: frozenset[int]) -> bool:
    """Whether numbers of one of ``places`` could be read out of the history. One query, or none."""
    if not places:
        return False
    if subject.kind is About.LOT:
        return Cell.objects.filter(lot=subject.pk, inside=True, account__place__in=places).exists()
    # Of a permit's animals some may be in any place: it is read when nothing is counted by the reader.
    return subject.kind is About.PERMIT or subject.pk in places


def _events(subject: Subject) -> Iterator[Told]:
    columns = ("pk", "effective_at", "entered_at")
    if subject.kind is About.PERMIT:
        named = Q(permit_number=subject.key) | Q(reverses__permit_number=subject.key)
        found = set(Event.objects.filter(named).order_by().values_list(*columns))
    else:
        cells = Cell.objects.order_by()
        cells = (
            cells.filter(lot=subject.pk)
            if subject.kind is About.LOT
            else cells.filter(account__place=subject.pk)
        )
        found = set()
        for end in ("from_cell__in", "to_cell__in"):
            flows = Flow.objects.filter(**{end: cells.values("id")}).order_by()
            found.update(flows.values_list("event_id", "effective_at", "entered_at"))
    for pk, at, entered_at in found:
        yield Told(at, entered_at, "event", event=pk)


def _refused(subject: Subject) -> Iterator[Told]:
    refused = RefusedEntry.objects.filter(about__kind=subject.kind.value, about__key=subject.key)
    for one in refused.order_by("id").distinct():
        said = "; ".join(
            f"{name.replace('_', ' ')} {value}" for name, value in one.said.items() if name != "identifier"
        )
        yield Told(
            one.at,
            one.at,
            f"refused, {one.get_door_display()}",
            f"{one.what}: {said}",
            one.by_name,
            why=one.why,
            refused=True,
        )


def _others(subject: Subject, zone: tzinfo) -> Iterator[Told]:
    if subject.kind is About.PERMIT:
        return
    where = Q(lot=subject.pk) if subject.kind is About.LOT else Q(place=subject.pk)
    for flag in Flag.objects.filter(where).select_related("owner", "settled_by"):
        url = reverse("event", args=[flag.event_id])
        words = f"{flag.get_kind_display()}, event {flag.event_id}"
        yield Told(flag.raised_at, flag.raised_at, "question", words, flag.owner.name, url=url)
        if flag.settled_at:
            by = flag.settled_by.name if flag.settled_by else "by itself"
            yield Told(flag.settled_at, flag.settled_at, "question settled", words, by, url=url)
    if subject.kind is About.PLACE:
        for keeping in Keeping.objects.filter(place=subject.pk).select_related("keeper"):
            yield _day(keeping.since, f"{keeping.keeper.name} keeps it from this day", zone)
            if keeping.until:
                yield _day(keeping.until, f"{keeping.keeper.name} keeps it to this day", zone)
        for way in WayOut.objects.filter(place=subject.pk).select_related("noted_by", "shut_by"):
            yield _of_a_way_out(way.noted_at, f"{way.what}: open", way.noted_by.name, way.since, zone)
            if way.until and way.shut_at and way.shut_by:
                yield _of_a_way_out(way.shut_at, f"{way.what}: shut after", way.shut_by.name, way.until, zone)


def _of_a_way_out(entered: datetime, words: str, who: str, day: date, zone: tzinfo) -> Told:
    moment = timezone.make_aware(datetime.combine(day, time()), zone)
    return Told(moment, entered, "way out", words, who, happened=str(day))


def _day(day: date, words: str, zone: tzinfo) -> Told:
    moment = timezone.make_aware(datetime.combine(day, time()), zone)
    return Told(moment, moment, "keeper", words, happened=str(day))
