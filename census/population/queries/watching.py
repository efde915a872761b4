"""The watch on deaths: of each taxon in each tank, against the year before."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta, tzinfo
from fractions import Fraction
from functools import lru_cache

from census.estimators.rules.estimate import CannotEstimate
from inventory.book.models import Event
from inventory.book.queries.quantities import cell_balances, cell_ends, flows_across
from inventory.book.rules.days import day_in_words
from inventory.book.rules.ends import CellEnd
from inventory.book.rules.happened import end_of_day, start_of_day

from ..rules.course import Key
from ..rules.spans import quarter_of
from ..rules.watch import DAYS_OF_A_YEAR, Day, Limits, began, limits_for, run_length, watch
from ..rules.watched import (
    BASE_DAYS,
    LEAST_BASE_DAYS,
    allowed_each,
    highest_usual,
    noticed_times,
    usual_rate,
)
from .reading import Names, names_of

ANIMALS = "animal"


@dataclass(frozen=True, slots=True)
class Alarm:
    """The sum reached its limit on ``day``, by ``deaths`` since ``since``."""

    day: date
    since: date
    deaths: int


@dataclass(frozen=True, slots=True)
class Series:
    """One taxon in one place. ``base_deaths`` of ``base_days`` made the usual rate."""

    key: Key
    base_deaths: int
    base_days: int
    first: date
    days: list[Day]
    limits: Limits
    held: int
    alarms: list[Alarm]

    @property
    def last_alarm(self) -> Alarm | None:
        return self.alarms[-1] if self.alarms else None


@dataclass(frozen=True, slots=True)
class Watch:
    """All series that are watched on a day, and what the watch promises."""

    series: list[Series]
    names: Names
    base: tuple[date, date]
    since: date
    until: date
    not_watched: str = ""
    """Why there is no watch; empty when there is one."""
    too_many: list[Key] = field(default_factory=list)
    """So many die here as a rule that no daily limit is quiet enough: not watched."""

    @property
    def false_alarms_a_year(self) -> float:
        """Of all series together, if deaths come as usual: what the house must expect."""
        return sum(one.limits.false_alarms_a_year for one in self.series)

    def alarms(self, since: date) -> list[tuple[Series, Alarm]]:
        """The alarms on and after a day, newest first."""
        found = [(one, alarm) for one in self.series for alarm in one.alarms if alarm.day >= since]
        return sorted(found, key=lambda pair: (pair[1].day, self.names.of(pair[0].key)), reverse=True)


def read_watch(
    today: date,
    *,
    zone: tzinfo,
    known_at: datetime | None = None,
    only: Key | None = None,
) -> Watch:
    """The watch as it stands on ``today``: it begins with the quarter before this one; what is usual is what
    died in the year before that. At most seven queries. ``only`` leaves out other taxa and places."""
    since = quarter_of(quarter_of(today).first - timedelta(days=1)).first
    base_first = since - timedelta(days=BASE_DAYS)
    first_event = Event.objects.order_by("effective_at").values_list("effective_at", flat=True).first()
    begins = first_event.astimezone(zone).date() if first_event else today
    base = (max(base_first, begins), since - timedelta(days=1))
    base_days = (base[1] - base[0]).days + 1
    names = names_of()
    if base_days < LEAST_BASE_DAYS:
        why = (
            f"The book has {max(base_days, 0)} days before {day_in_words(since)}; what is usual is told from "
            f"{LEAST_BASE_DAYS} days or more."
        )
        return Watch([], names, base, since, today, why)
    flows = flows_across(
        ("died",), since=start_of_day(base[0], zone), before=end_of_day(today, zone), known_at=known_at
    )
    balances = cell_balances(before=end_of_day(today, zone), known_at=known_at)
    ends = cell_ends({*balances, *(cell for f in flows for cell in (f.from_cell, f.to_cell))})
    deaths: defaultdict[Key, Counter[int]] = defaultdict(Counter)
    for flow in flows:
        cell, n = (flow.to_cell, -flow.n) if ends[flow.from_cell].cause else (flow.from_cell, flow.n)
        key = _key(ends[cell])
        if key is not None:
            deaths[key][flow.effective_at.astimezone(zone).date().toordinal()] += n
    held: Counter[Key] = Counter()
    for cell, n in balances.items():
        key = _key(ends[cell])
        if key is not None:
            held[key] += n
    watched = sorted({*(key for key, n in held.items() if n > 0), *deaths}, key=names.of)
    allowed = allowed_each(len(watched))
    series, too_many = [], []
    for key in watched:
        if only is None or _matches(key, only):
            one = _series(key, deaths[key], base, since, today, held=held[key], allowed=allowed)
            if one is None:
                too_many.append(key)
            else:
                series.append(one)
    return Watch(series, names, base, since, today, too_many=too_many)


def _key(end: CellEnd) -> Key | None:
    """Animals on the premises only: what dies elsewhere is the borrower's to watch."""
    if end.cause or end.off_site or end.unit != ANIMALS:
        return None
    return Key(end.taxon_id, end.place_id or 0)


def _matches(key: Key, only: Key) -> bool:
    return only.taxon_id in (0, key.taxon_id) and only.place_id in (0, key.place_id)


def _series(
    key: Key,
    deaths: Counter[int],
    base: tuple[date, date],
    since: date,
    today: date,
    *,
    held: int,
    allowed: float,
) -> Series | None:
    """None where no limit is quiet enough."""
    base_days = (base[1] - base[0]).days + 1
    base_deaths = sum(n for day, n in deaths.items() if base[0].toordinal() <= day <= base[1].toordinal())
    limits = _limits(usual_rate(base_deaths, base_days), allowed)
    if limits is None:
        return None
    first, last = since.toordinal(), today.toordinal()
    days = watch([max(0, deaths[day]) for day in range(first, last + 1)], limits)
    alarms = [
        Alarm(
            date.fromordinal(first + at),
            date.fromordinal(first + began(days, at)),
            sum(day.deaths for day in days[began(days, at) : at + 1]),
        )
        for at, day in enumerate(days)
        if day.alarm
    ]
    return Series(key, base_deaths, base_days, since, days, limits, held, alarms)


@lru_cache(maxsize=4096)
def _limits(usual: float, allowed: float) -> Limits | None:
    """Both are rounded beforehand, so that few are worked out for many series. None where no limit is quiet
    enough: to find that out takes longest, and an exception would not be kept."""
    try:
        return limits_for(usual, false_alarms_a_year=allowed, times=noticed_times(usual))
    except CannotEstimate:
        return None


def false_if_high(series: Iterable[Series]) -> float:
    """False alarms a year if every usual rate is really at the upper end of what its history allows."""
    return sum(_false_at(one.limits, highest_usual(one.base_deaths, one.base_days)) for one in series)


def _false_at(limits: Limits, rate: float) -> float:
    return DAYS_OF_A_YEAR / _length(limits.k, limits.h, rate)


@lru_cache(maxsize=4096)
def _length(k: Fraction, h: Fraction, rate: float) -> float:
    return run_length(k, h, rate)
