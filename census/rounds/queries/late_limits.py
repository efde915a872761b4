"""Late entries one by one: which of them ask for their period to be restated."""

from collections import defaultdict
from datetime import tzinfo

from django.urls import reverse

from inventory.book.late import Reached

from .late import late_periods
from .settings import settings_in_use


def limits_reached(zone: tzinfo) -> dict[int, list[Reached]]:
    """By event. The limit is held to all late entries of a taxon together, so that each of them reaches it.

    As many queries as :func:`.late.late_periods`, and those of the settings.
    """
    found: dict[int, list[Reached]] = defaultdict(list)
    for late in late_periods(settings=settings_in_use(), zone=zone):
        page = reverse("period", args=[late.period.code])
        for figure, _ in late.asks:
            for event in figure.events:
                found[event].append(
                    Reached(f"{late.period.code}, {figure.name}: at or above the limit", page)
                )
        for one in late.touched:
            for touching in one.events:
                found[touching.pk].append(
                    Reached(f"{late.period.code}: touches {one.sent}, already sent", page)
                )
    return dict(found)
