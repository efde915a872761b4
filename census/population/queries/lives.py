"""Histories from arrival: who can be followed, and the least and most deaths soon after arrival."""

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo

from census.change.rules.young import YOUNG_DAYS, Bounds, LotDay, deaths_of_young
from inventory.book.queries.quantities import Traced, traced_flows
from inventory.book.rules.happened import end_of_day

from ..rules.asked import Asked
from ..rules.course import ARRIVED, BIRTHS
from ..rules.following import Followed, LotFlow, follow
from .reading import Names, lots_of, names_of


@dataclass(frozen=True, slots=True)
class Cohort:
    """Animals of one lot that came on one day. ``whole``: thirty days have passed since."""

    lot: int
    taxon_id: int
    day: date
    cause: str
    arrived: int
    young: Bounds
    whole: bool


@dataclass(frozen=True, slots=True)
class Histories:
    """What was read of the lots asked about."""

    followed: Followed
    cohorts: list[Cohort]
    names: Names


def read_histories(asked: Asked, *, zone: tzinfo) -> Histories:
    """Lives within the days asked, and the cohorts that came in them. Seven queries."""
    lots = lots_of(asked)
    end = min(asked.last_day, asked.today)
    traced = traced_flows(lots, before=end_of_day(end, zone), known_at=asked.known_at)
    flows = _days(traced, zone)
    inside = {
        cell: not one.cause
        and one.lot_id in lots
        and asked.scope.holds(off_site=bool(one.off_site), owner=one.owner)
        and asked.place in (None, one.place_id)
        for cell, one in traced.ends.items()
    }
    followed = follow(flows, traced.ends, inside, first=asked.first_day.toordinal(), last=end.toordinal())
    return Histories(followed, _cohorts(asked, flows, traced, inside, end), names_of())


def _days(traced: Traced, zone: tzinfo) -> list[LotFlow]:
    return [
        LotFlow(flow.effective_at.astimezone(zone).date().toordinal(), flow.from_cell, flow.to_cell, flow.n)
        for flow in traced.flows
    ]


@dataclass(slots=True)
class _LotDays:
    arrived: defaultdict[tuple[int, str], int]
    other_in: defaultdict[int, int]
    deaths: defaultdict[int, int]
    other_out: defaultdict[int, int]


def _cohorts(
    asked: Asked, flows: list[LotFlow], traced: Traced, inside: dict[int, bool], end: date
) -> list[Cohort]:
    """By lot: each arrival against all that the lot held beside it (:mod:`census.change.rules.young`)."""
    of_lot: defaultdict[int, _LotDays] = defaultdict(
        lambda: _LotDays(defaultdict(int), defaultdict(int), defaultdict(int), defaultdict(int))
    )
    taxa: dict[int, int] = {}
    for flow in flows:
        a, b = traced.ends[flow.from_cell], traced.ends[flow.to_cell]
        if inside[flow.to_cell] and not (inside[flow.from_cell] and a.lot_id == b.lot_id):
            taxa[b.lot_id] = b.taxon_id
            if a.cause in (*ARRIVED, *BIRTHS):
                of_lot[b.lot_id].arrived[flow.day, a.cause] += flow.n
            else:
                of_lot[b.lot_id].other_in[flow.day] += flow.n
        if inside[flow.from_cell] and not (inside[flow.to_cell] and a.lot_id == b.lot_id):
            days = of_lot[a.lot_id]
            (days.deaths if b.cause == "died" else days.other_out)[flow.day] += flow.n
    found = []
    for lot, days in of_lot.items():
        for (day, cause), n in sorted(days.arrived.items()):
            if asked.first_day.toordinal() <= day <= asked.last_day.toordinal():
                came = date.fromordinal(day)
                whole = came + timedelta(days=YOUNG_DAYS) <= end
                bounds = deaths_of_young(start=0, days=_against(days, (day, cause)), first_day=day)
                found.append(Cohort(lot, taxa[lot], came, cause, n, bounds, whole))
    return sorted(found, key=lambda one: (one.day, one.lot, one.cause))


def _against(days: _LotDays, cohort: tuple[int, str]) -> list[LotDay]:
    """The days of a lot as the bounds read them: one arrival is young, all other animals are not."""
    all_days = {day for day, _ in days.arrived} | {*days.other_in, *days.deaths, *days.other_out}
    until = cohort[0] + YOUNG_DAYS
    return [
        LotDay(
            day=day,
            born=[(until, days.arrived[cohort])] if day == cohort[0] else (),
            other_in=days.other_in.get(day, 0)
            + sum(n for (when, cause), n in days.arrived.items() if when == day and (when, cause) != cohort),
            deaths=days.deaths.get(day, 0),
            other_out=days.other_out.get(day, 0),
        )
        for day in all_days
        if day <= until
    ]
