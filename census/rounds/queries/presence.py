"""Class D, which is asked once a year: which letters are due in a census. Two queries."""

from datetime import date, timedelta

from django.db.models import Max

from ..models import Census, Count, Line
from ..rules.settings import CensusSettings
from ..rules.states import SHEETS_REPLACED
from ..rules.words import CensusState, LineKind


def presence_due(census: Census, settings: CensusSettings) -> dict[int, date | None]:
    """The presence lines of the census whose letter is due, by their id, with the day of the last letter.

    Due: no letter of the same kind in the same place within so many days before the cut-off; the days in
    which a census counts are no part of them, for the day differs from year to year. What has its letter
    in this census is due no more.
    """
    replaced = [state.value for state in SHEETS_REPLACED]
    lines = Line.objects.filter(sheet__census=census, kind=LineKind.PRESENCE.value)
    lines = lines.exclude(sheet__state__in=replaced).exclude(counts__isnull=False)
    chosen = list(lines.values_list("pk", "place", "taxon"))
    if not chosen:
        return {}
    letters = Count.objects.filter(line__kind=LineKind.PRESENCE.value, replaced_by=None).exclude(letter="")
    letters = letters.filter(line__taxon__in={taxon for _, _, taxon in chosen}, counted_at__lt=census.cutoff)
    letters = letters.exclude(line__sheet__census__state=CensusState.ABANDONED.value)
    newest = {
        (place, taxon): at
        for place, taxon, at in letters.order_by()
        .values_list("line__place", "line__taxon")
        .annotate(at=Max("counted_at"))
    }
    window = settings.count_window_days_before + settings.count_window_days_after
    since = census.cutoff - timedelta(days=settings.full_count_class_d_days - window)
    due: dict[int, date | None] = {}
    for pk, place, taxon in chosen:
        last = newest.get((place, taxon))
        if last is None or last < since:
            due[pk] = last.date() if last else None
    return due
