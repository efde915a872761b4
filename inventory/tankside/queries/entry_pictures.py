"""Photographs that came with entries, as pages show them: beside an event, or beside an entry without one."""

from collections.abc import Collection, Iterable

from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone

from inventory.book.pictured import Photograph

from ..models import EntryPicture
from ..rules.pictures import THUMBNAIL


def of_events(events: Collection[int], hidden: Collection[int] = ()) -> dict[int, list[Photograph]]:
    """By the event's number, in one query; none of entries at a place that is hidden from the reader."""
    return _by((one.entry.event_id or 0, one) for one in _seen(hidden).filter(entry__event__in=events))


def of_entries(entries: Collection[int], hidden: Collection[int] = ()) -> dict[int, list[Photograph]]:
    """The same by the number of the entry's row, for entries that are no event."""
    return _by((one.entry_id, one) for one in _seen(hidden).filter(entry__in=entries))


def one_picture(pk: int, *, hidden: Collection[int]) -> EntryPicture | None:
    """Who may see the entry may see its pictures."""
    return _seen(hidden).select_related("document", "thumbnail").filter(pk=pk).first()


def _seen(hidden: Collection[int]) -> QuerySet[EntryPicture]:
    rows = EntryPicture.objects.select_related("entry__person").order_by("pk")
    return rows.exclude(entry__place__in=hidden) if hidden else rows


def _by(rows: Iterable[tuple[int, EntryPicture]]) -> dict[int, list[Photograph]]:
    found: dict[int, list[Photograph]] = {}
    for key, one in rows:
        found.setdefault(key, []).append(_shown(one))
    return found


def _shown(one: EntryPicture) -> Photograph:
    share = min(1.0, THUMBNAIL / max(one.width, one.height))
    who, saved = one.entry.person, one.entry.saved_at
    at = f", {timezone.localtime(saved):%Y-%m-%d %H:%M}" if saved else ""
    return Photograph(
        url=reverse("entry_picture", args=[one.pk]),
        small_url=reverse("entry_picture_small", args=[one.pk]),
        width=max(1, round(one.width * share)),
        height=max(1, round(one.height * share)),
        alt=f"Photograph with the entry “{one.entry.answer['words']}”",
        taken=f"{who.name if who else 'nobody named'}{at}",
    )
