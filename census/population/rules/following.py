"""Who can be followed from the day of arrival, and what became of them.

An animal is followed when the book says on which day it came: an individual, or a lot that all came on
one day, also after it was divided or moved. Lots into which animals of several days were put are pools:
nobody knows which of them died, so they are left out, and how many is told.
"""

from collections import Counter, defaultdict, deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from inventory.book.rules.ends import CellEnd

from .survival import Life

DEATHS = ("died", "put_down")
"""What ends a life here; what else leaves (sent on, released, lost sight of) was alive when last seen."""

UNKNOWN_DAY = 0
"""Stands for arrivals whose day nobody knows: opening stock, and animals that were found."""

HALF_A_DAY = 0.5
"""A death on the day of arrival: later than the arrival, sooner than a day."""


class LotFlow(NamedTuple):
    """A flow that really happened (nothing that was taken back), by day (``date.toordinal``)."""

    day: int
    from_cell: int
    to_cell: int
    n: int


@dataclass(slots=True)
class Followed:
    """Lives by arrival day; how many came and could not be followed."""

    lives: dict[int, list[Life]] = field(default_factory=dict)
    pooled: int = 0
    unknown: int = 0

    @property
    def all(self) -> list[Life]:
        return [life for lives in self.lives.values() for life in lives]


def arrival_days(flows: Iterable[LotFlow], ends: Mapping[int, CellEnd]) -> dict[int, set[int]]:
    """On which days the animals of each lot may have come, also through other lots."""
    days: defaultdict[int, set[int]] = defaultdict(set)
    given: defaultdict[int, set[int]] = defaultdict(set)
    for flow in flows:
        a, b = ends[flow.from_cell], ends[flow.to_cell]
        if a.cause and not b.cause:
            days[b.lot_id].add(UNKNOWN_DAY if a.cause in ("opening", "found", "loan_in") else flow.day)
        elif not a.cause and not b.cause and a.lot_id != b.lot_id:
            given[a.lot_id].add(b.lot_id)
    waiting = deque(days)
    while waiting:
        lot = waiting.popleft()
        for other in given[lot]:
            if not days[lot] <= days[other]:
                days[other] |= days[lot]
                waiting.append(other)
    return dict(days)


def follow(
    flows: Iterable[LotFlow],
    ends: Mapping[int, CellEnd],
    inside: Mapping[int, bool],
    *,
    first: int,
    last: int,
) -> Followed:
    """Lives as lived between the days ``first`` and ``last``, from flows in their order.

    Who came earlier enters late; who is alive at the end, or left, is censored.

    ``inside`` says which cells count (taxon, scope, place). Of one arrival day animals are alike, so which
    of them an entry and an exit belong to changes no number at risk: the oldest entry leaves first.
    """
    in_order = list(flows)
    came = arrival_days(in_order, ends)
    found = Followed()
    # (day, whether they go, day of arrival, flow, whether they died)
    passed: list[tuple[int, bool, int, LotFlow, bool]] = []
    for flow in in_order:
        a, b = ends[flow.from_cell], ends[flow.to_cell]
        from_day, to_day = _known(a, inside[flow.from_cell], came), _known(b, inside[flow.to_cell], came)
        if a.cause and inside[flow.to_cell] and to_day is None and first <= flow.day <= last:
            if came[b.lot_id] == {UNKNOWN_DAY} or a.cause == "opening":
                found.unknown += flow.n
            else:
                found.pooled += flow.n
        if from_day == to_day:
            continue
        if from_day is not None:
            passed.append((flow.day, True, from_day, flow, b.cause in DEATHS))
        if to_day is not None:
            passed.append((flow.day, False, to_day, flow, False))
    cohorts = {day: _Cohort(day, first, last) for _, _, day, _, _ in passed}
    # Of one day those who come stand before those who go: a death that is dated by its day alone lies before
    # an arrival with an hour.
    for _, goes, day, flow, died in sorted(passed, key=lambda one: one[:2]):
        if goes:
            cohorts[day].leave(flow, died=died)
        else:
            cohorts[day].present.append([flow.day, flow.n])
    for day, cohort in sorted(cohorts.items()):
        cohort.end()
        if cohort.stays:
            found.lives[day] = [
                Life(exit_, died, entry, n) for (entry, exit_, died), n in sorted(cohort.stays.items())
            ]
    return found


def _known(end: CellEnd, counts: bool, came: Mapping[int, set[int]]) -> int | None:
    """The one arrival day of the animals of a cell that counts, or None."""
    if end.cause or not counts:
        return None
    days = came.get(end.lot_id, set())
    only = next(iter(days)) if len(days) == 1 else UNKNOWN_DAY
    return only if only != UNKNOWN_DAY else None


@dataclass(slots=True)
class _Cohort:
    """Animals of one arrival day: who is there ([day of entry, number]), and the stays that ended."""

    arrived: int
    first: int
    last: int
    present: deque[list[int]] = field(default_factory=deque)
    stays: Counter[tuple[float, float, bool]] = field(default_factory=Counter)

    def leave(self, flow: LotFlow, *, died: bool) -> None:
        left = flow.n
        while left and self.present:
            entered, there = self.present[0]
            n = min(left, there)
            self._add(entered, flow.day, n, died=died)
            left -= n
            self.present[0][1] -= n
            if not self.present[0][1]:
                self.present.popleft()

    def end(self) -> None:
        """Who is still there was alive when the last day ended."""
        for entered, n in self.present:
            self._add(entered, self.last + 1, n, died=False)

    def _add(self, entered: int, left: int, n: int, *, died: bool) -> None:
        """One stay, cut to the days asked for."""
        if left < self.first:
            return
        if left > self.last:
            left, died = self.last + 1, False
        entry, exit_ = max(entered, self.first) - self.arrived, left - self.arrived
        if exit_ > entry:
            self.stays[float(entry), float(exit_), died] += n
        elif died:
            # On the day on which it came, or came into sight.
            self.stays[float(entry), exit_ + HALF_A_DAY, True] += n
