"""Counts of a taxon at its censuses, with their ranges, to stand beside the book."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date

from census.rounds.models import Census
from census.rounds.queries.charts import censuses_until, drift_series
from census.rounds.queries.settings import settings_in_use
from inventory.names.models import Taxon


@dataclass(frozen=True, slots=True)
class Count:
    """One census: the sum over the places that were counted. ``part``: others were not. ``day`` is the last
    of its period, with whose quarter it stands; the cutoff is a moment of the day after."""

    census: str
    day: date
    value: int
    low: int | None
    high: int | None
    at_least: bool
    part: bool
    method: str
    breaks: bool


def counts_of(taxon_id: int, *, place: str, until: date) -> list[Count]:
    """The counts of the twelve newest censuses up to a day, oldest first. Queries grow with the censuses."""
    newest = Census.objects.filter(period__ends_on__lte=until).order_by("-cutoff", "-pk").first()
    if newest is None:
        return []
    censuses = censuses_until(newest)
    series = drift_series(Taxon.objects.get(pk=taxon_id), censuses, settings_in_use())
    points = defaultdict(list)
    for code, of_place in series.items():
        if not place or code == place:
            for point in of_place:
                points[point.census].append(point)
    found = []
    for census in censuses:
        here = points[census.code]
        known = [point for point in here if point.value is not None]
        if not known:
            continue
        ranged = any(point.low is not None for point in known)
        values = [(p.value or 0, p.low, p.high) for p in known]
        found.append(
            Count(
                census.code,
                census.period.ends_on,
                sum(value for value, _, _ in values),
                sum(value if low is None else low for value, low, _ in values) if ranged else None,
                sum(value if high is None else high for value, _, high in values) if ranged else None,
                any(point.at_least for point in known),
                len(known) < len(here),
                ", ".join(dict.fromkeys(point.method for point in known)),
                any(point.breaks for point in known),
            )
        )
    return found
