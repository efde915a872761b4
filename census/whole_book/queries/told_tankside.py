"""What the tank side says of a lot or a place: notes, what came back, bodies, alarms, stays, readings."""

from collections.abc import Iterator

from django.db.models import Count, Max, Min, Q
from django.db.models.functions import TruncDate
from django.urls import reverse
from django.utils import timezone

from inventory.book.history import About, Subject, Told
from inventory.tankside.models import (
    Alarm,
    Body,
    DoubleDecision,
    Entry,
    FoundCause,
    Reading,
    SetAside,
    StayWord,
    UnlistedFinding,
    WantedRange,
)

from .of_subject import day, events_of


def told(subject: Subject) -> Iterator[Told]:
    """Eight queries for a lot, ten for a place, none for a permit."""
    if subject.kind is About.PERMIT:
        return
    where = Q(lot=subject.pk) if subject.kind is About.LOT else Q(place=subject.pk)
    yield from _entries(where)
    yield from _of_events(subject)
    for alarm in Alarm.objects.filter(where).select_related("seen_by"):
        url = reverse("event", args=[alarm.event_id])
        yield Told(alarm.raised_at, alarm.raised_at, "alarm", alarm.words, url=url)
        if alarm.seen_at and alarm.seen_by:
            yield Told(alarm.seen_at, alarm.seen_at, "alarm seen", alarm.words, alarm.seen_by.name, url=url)
    for word in StayWord.objects.filter(where).select_related("by", "lot", "place"):
        words = f"{word.lot.accession} in {word.place.code}: {word.words}"
        yield Told(word.at, word.at, f"stay, {word.get_kind_display()}", words, word.by.name)
    if subject.kind is About.PLACE:
        yield from _log(subject)


def _entries(where: Q) -> Iterator[Told]:
    """What made no event: notes, and what came back. What made one is told by the event."""
    entries = Entry.objects.filter(where, event=None)
    for entry in entries.select_related("person", "device", "lot__taxon", "place").order_by("id"):
        came_back = entry.outcome != "sent"
        problems = "; ".join(one.get("words", "") for one in entry.answer.get("problems", []))
        note = str(entry.body.get("note", "")) if isinstance(entry.body, dict) else ""
        yield Told(
            entry.saved_at or entry.received_at,
            entry.received_at,
            "refused, tank side" if came_back else f"entry, {entry.kind or 'note'}",
            ": ".join(part for part in (entry.told, note) if part),
            entry.person.name if entry.person else entry.device.name,
            why=problems,
            refused=came_back,
        )
    aside = SetAside.objects.filter(entry__in=entries.values("pk")).select_related(
        "by", "entry__lot__taxon", "entry__place"
    )
    for one in aside:
        yield Told(one.at, one.at, "set aside", one.entry.told, one.by.name, why=one.why)
    found = UnlistedFinding.objects.filter(entry__in=entries.values("pk"))
    for finding in found.select_related("found_by", "seen__by"):
        url = reverse("what_it_was", args=[finding.entry_id])
        moment, words = finding.found_at, str(finding)
        yield Told(
            moment, moment, "on no list: what it was", words, finding.found_by.name, why=finding.note, url=url
        )
        seen = getattr(finding, "seen", None)
        if seen is not None:
            yield Told(seen.at, seen.at, "seen by the permit officer", words, seen.by.name, url=url)


def _of_events(subject: Subject) -> Iterator[Told]:
    events = events_of(subject)
    for body in Body.objects.filter(event__in=events).select_related("stated_by"):
        words = (
            f"{body.get_kept_display()}{f', bag {body.bag}' if body.bag else ''}, {body.get_part_display()}"
        )
        url = reverse("event", args=[body.event_id])
        yield Told(body.stated_at, body.stated_at, "body", words, body.stated_by.name, url=url)
    for found in FoundCause.objects.filter(event__in=events).select_related("stated_by"):
        url = reverse("event", args=[found.event_id])
        yield Told(found.stated_at, found.stated_at, "cause found", str(found), found.stated_by.name, url=url)
    doubles = DoubleDecision.objects.filter(Q(first__in=events) | Q(second__in=events))
    for one in doubles.select_related("decided_by"):
        words = f"events {one.first_id} and {one.second_id}: {one.get_answer_display()}"
        yield Told(one.decided_at, one.decided_at, "double", words, one.decided_by.name)


def _log(subject: Subject) -> Iterator[Told]:
    """Readings by day and quantity, folded: how many, from least to most."""
    url = reverse("tank_log", args=[subject.key])
    folded = (
        Reading.objects.filter(place=subject.pk, replaced_by=None)
        .annotate(on=TruncDate("taken_at", tzinfo=timezone.get_current_timezone()))
        .values("on", "quantity", "unit")
        .annotate(n=Count("id"), least=Min("value"), most=Max("value"), last=Max("entered_at"))
        .order_by("on", "quantity")
    )
    for row in folded:
        span = f"{row['least']:f}" if row["least"] == row["most"] else f"{row['least']:f} to {row['most']:f}"
        words = f"{row['quantity']} {span} {row['unit']}, {row['n']} reading{'s' if row['n'] > 1 else ''}"
        yield day(row["on"], "readings", words, entered_at=row["last"], url=url)
    for wanted in WantedRange.objects.filter(place=subject.pk).select_related("set_by"):
        low, high = ("none" if one is None else f"{one:f}" for one in (wanted.low, wanted.high))
        words = f"{wanted.quantity} from {low} to {high} {wanted.unit}, from {wanted.since} on"
        yield Told(wanted.set_at, wanted.set_at, "wanted range", words, wanted.set_by.name)
