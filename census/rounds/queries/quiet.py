"""The quiet time of tanks: what came in or went out in it, and sessions that took too long."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import Q

from inventory.book.models import Event, Flow
from inventory.book.rules.kinds import EventKind

from ..models import Census, Line, QuietMove, Sheet
from ..rules.settings import CensusSettings
from ..rules.states import SHEETS_REPLACED
from .reading import Row


@dataclass(frozen=True, slots=True)
class Disturbed:
    """An event that crossed the glass in a tank's quiet time. ``said``: the newest word on it, if any.

    It is allowed when it was written on both sheets; until somebody says so it is flagged.
    """

    sheet: Sheet
    event: Event
    into: bool
    n: int
    said: QuietMove | None

    @property
    def flagged(self) -> bool:
        return self.said is None or not self.said.on_both_sheets


# What a count says of the book, at the count's own moment: nobody carried an animal.
_BOOKED_ONLY = (EventKind.UNACCOUNTED.value, EventKind.FOUND.value)


@dataclass(frozen=True, slots=True)
class _Quiet:
    sheet: Sheet
    places: frozenset[int]
    starts: datetime
    ends: datetime


def disturbed(census: Census, settings: CensusSettings, *, now: datetime) -> list[Disturbed]:
    """Every event into or out of a tank between the start of its quiet time and its sheet's return.

    A constant number of queries.
    """
    quiet = _quiet_times(census, settings, now)
    if not quiet:
        return []
    window = Q(effective_at__gte=min(q.starts for q in quiet), effective_at__lt=max(q.ends for q in quiet))
    crossed = Flow.objects.filter(window, reversal=False).exclude(event__kind__in=_BOOKED_ONLY)
    flows = crossed.values_list(
        "event_id", "from_cell__account__place", "to_cell__account__place", "n", "effective_at"
    )
    said = {(one.sheet_id, one.event_id): one for one in QuietMove.objects.filter(sheet__census=census)}
    found: dict[tuple[int, int, bool], int] = defaultdict(int)
    for event, from_place, to_place, n, at in flows:
        if from_place == to_place:
            continue
        for q in quiet:
            if q.starts <= at < q.ends:
                for place, into in ((to_place, True), (from_place, False)):
                    other = from_place if into else to_place
                    if place in q.places and other not in q.places:
                        found[q.sheet.pk, event, into] += n
    events = Event.objects.select_related("entered_by").in_bulk({key[1] for key in found})
    sheets = {q.sheet.pk: q.sheet for q in quiet}
    return [
        Disturbed(sheets[sheet], events[event], into, n, said.get((sheet, event)))
        for (sheet, event, into), n in sorted(found.items())
    ]


def _quiet_times(census: Census, settings: CensusSettings, now: datetime) -> list[_Quiet]:
    """From the quiet hours before the planned count (else before the first count) until it is in."""
    places: dict[int, set[int]] = defaultdict(set)
    for sheet_id, place_id in Line.objects.filter(sheet__census=census).values_list("sheet_id", "place_id"):
        places[sheet_id].add(place_id)
    replaced = [state.value for state in SHEETS_REPLACED]
    sheets = census.sheets.exclude(state__in=replaced).select_related("place")
    counted: dict[int, list[datetime]] = defaultdict(list)
    for sheet_id, at in Line.objects.filter(sheet__census=census, counts__round=1).values_list(
        "sheet_id", "counts__counted_at"
    ):
        counted[sheet_id].append(at)
    hours = timedelta(hours=settings.quiet_hours_before_count)
    found = []
    for sheet in sheets:
        moments = counted[sheet.pk]
        counting = sheet.planned_at or min(moments, default=None)
        if counting is None or sheet.place.off_site:
            continue
        # What was counted is counted: the quiet time of a sheet that is late does not go on for ever.
        ends = max(moments) if moments else sheet.handed_in_at or now
        starts = min([counting, *moments]) - hours
        if starts < ends:
            found.append(_Quiet(sheet, frozenset(places[sheet.pk] | {sheet.place_id}), starts, ends))
    return found


def long_sessions(rows: Iterable[Row], settings: CensusSettings) -> list[tuple[Row, timedelta]]:
    """Joined tanks whose parts were counted further apart than one session lasts."""
    longest = timedelta(hours=settings.joined_session_max_hours)
    found = []
    for row in rows:
        for round_ in (1, 2, 3):
            moments = [part.counts[round_].counted_at for part in row.parts if round_ in part.counts]
            if len(moments) > 1 and max(moments) - min(moments) > longest:
                found.append((row, max(moments) - min(moments)))
    return found


def outside_window(rows: Sequence[Row], census: Census, settings: CensusSettings) -> list[Row]:
    """Rows counted before or after the days in which the census counts."""
    earliest = census.cutoff - timedelta(days=settings.count_window_days_before)
    latest = census.cutoff + timedelta(days=settings.count_window_days_after)
    return [
        row
        for row in rows
        if any(
            not earliest <= count.counted_at <= latest for part in row.parts for count in part.counts.values()
        )
    ]
