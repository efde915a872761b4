"""Causes of death that were found afterwards."""

from collections.abc import Collection

from django.utils import timezone

from ..models import FoundCause


def found_of_events(events: Collection[int]) -> dict[int, list[str]]:
    """What was found of each death, in words, the newest first; one query."""
    told: dict[int, list[str]] = {}
    for one in FoundCause.objects.filter(event__in=events).select_related("stated_by").order_by("-id"):
        at = timezone.localtime(one.stated_at)
        told.setdefault(one.event_id, []).append(f"{one}; {one.stated_by.name}, {at:%Y-%m-%d %H:%M}")
    return told
