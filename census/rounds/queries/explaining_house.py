"""What the house's own history says of its differences: routes, keepers, hunters, earlier censuses."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta

from django.db.models import Count, F, Q
from django.utils.timezone import get_current_timezone, localdate

from census.differences.rules.causes import Cause, History
from census.differences.rules.facts import HouseFacts, Uncounted
from inventory.book.models import Event, Flow, Keeping, Place, PlaceKind
from inventory.book.queries.ways_out import hunters_by_place, open_ways_out
from inventory.book.rules.happened import start_of_day
from inventory.book.rules.kinds import EventKind

from ..models import Census, Decision
from ..rules.hypotheses import cause_of_decision
from ..rules.settings import CensusSettings
from ..rules.words import LineKind
from .reading import Row, present

# Habits of longer ago say little of how a house works now.
LOOKED_BACK = timedelta(days=730)
# A share of fewer events than this says nothing.
ENOUGH_EVENTS = 50


def house_facts(
    census: Census, rows: Sequence[Row], *, now: datetime, settings: CensusSettings
) -> HouseFacts:
    """Nine queries, however big the house."""
    since = now - LOOKED_BACK
    codes = dict(Place.objects.values_list("pk", "code"))
    period = census.period
    ways_out = open_ways_out(period.starts_on, period.ends_on)
    return HouseFacts(
        history=_history(census, since),
        routes=_routes(since),
        keepers=_keepers(now),
        hunters=_by_code(hunters_by_place(), codes),
        ways_out=_by_code({place: [str(one) for one in ways] for place, ways in ways_out.items()}, codes),
        uncounted=_uncounted(rows),
        now=now,
        starts=start_of_day(census.period.starts_on, get_current_timezone()),
        last=census.cutoff - timedelta(minutes=1),
        double_minutes=settings.double_entry_minutes,
        young_days=settings.young_count_in_days,
        search_days=settings.individual_search_days,
    )


def _history(census: Census, since: datetime) -> History:
    """How the lines of earlier censuses were settled, by cause."""
    settled = Decision.objects.filter(line__sheet__census__cutoff__lt=census.cutoff).order_by()
    accepted: dict[Cause, int] = defaultdict(int)
    for how, reason, n in settled.values_list("how", "reason").annotate(Count("line", distinct=True)):
        cause = cause_of_decision(how, reason)
        if cause is not None:
            accepted[cause] += n
    lines = settled.aggregate(n=Count("line", distinct=True))["n"]
    return History(
        lines=lines,
        accepted=dict(accepted),
        late_deaths=_late_share(EventKind.DIED, since),
        late_moves=_late_share(EventKind.MOVED, since),
    )


def _late_share(kind: EventKind, since: datetime) -> float | None:
    """Share of the events of a kind that were entered more than three days after they happened."""
    late = Q(entered_at__gt=F("effective_at") + timedelta(days=3))
    found = Event.objects.filter(kind=kind.value, effective_at__gte=since, reversed_by=None).aggregate(
        all=Count("id"), late=Count("id", filter=late)
    )
    return found["late"] / found["all"] if found["all"] >= ENOUGH_EVENTS else None


def _routes(since: datetime) -> dict[tuple[str, str], int]:
    """How many moves went from one place to another; reversed ones went nowhere."""
    moves = (
        Flow.objects.filter(event__kind=EventKind.MOVED.value, effective_at__gte=since, reversal=False)
        .filter(event__reversed_by=None)
        .exclude(from_cell__account=F("to_cell__account"))
        .order_by()
        .values_list("from_cell__account__place__code", "to_cell__account__place__code")
        .annotate(Count("event", distinct=True))
    )
    return {(start, end): n for start, end, n in moves if start and end}


def _keepers(now: datetime) -> dict[str, frozenset[str]]:
    today = localdate(now)
    kept: dict[str, set[str]] = defaultdict(set)
    rows = Keeping.objects.filter(Q(until=None) | Q(until__gte=today), since__lte=today)
    for place, keeper in rows.values_list("place__code", "keeper__name"):
        kept[place].add(keeper)
    return {place: frozenset(names) for place, names in kept.items()}


def _by_code(words: Mapping[int, Sequence[str]], codes: Mapping[int, str]) -> Mapping[str, Sequence[str]]:
    return {codes[place]: said for place, said in words.items()}


def _uncounted(rows: Sequence[Row]) -> list[Uncounted]:
    """Places on the sheets of which nothing is counted yet."""
    counted: dict[str, bool] = defaultdict(bool)
    hospital: dict[str, bool] = {}
    held: dict[str, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    for row in rows:
        for part in row.parts:
            place = part.line.place
            if place.off_site or part.line.kind in (LineKind.PRESENCE, LineKind.WRITE_IN):
                continue
            counted[place.code] |= bool(part.counts)
            hospital[place.code] = place.kind == PlaceKind.HOSPITAL
            held[place.code][row.name] += present(part.at_end)
    return [
        Uncounted(code, hospital[code], dict(held[code]))
        for code, done in sorted(counted.items())
        if not done
    ]
