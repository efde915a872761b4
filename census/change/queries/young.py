"""Reads what the replay of young deaths needs: the days of a few lots, never of all."""

from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from datetime import date, timedelta, tzinfo
from typing import NamedTuple

import numpy as np

from inventory.book.queries.quantities import dated_columns
from inventory.book.rules.columns import EndColumns, Numbers, Truths, sums
from inventory.book.rules.happened import start_of_day
from inventory.book.rules.scope import Scope
from inventory.names.models import Taxon

from ..rules.arrays import RowColumns
from ..rules.question import Question
from ..rules.young import YOUNG_DAYS, Bounds
from ..rules.young_lots import groups_with_young_deaths, linked_lots, lots_to_replay
from ..rules.young_rows import DayFlow, Herds, Replayed, age_at_entry, replayed
from .reading import Moments, Reading

Ages = Mapping[int, int]


class Replay:
    """The days of the lots in which young may have died, replayed once, told for every way to make rows."""

    def __init__(self, found: Replayed | None) -> None:
        self._found = found

    def young_deaths(self, rows: RowColumns, *, rows_are_places: bool) -> dict[int, Bounds]:
        """Least and most deaths within 30 days of birth by row."""
        if self._found is None:
            return {}
        return self._found.by_row(lambda cell: int(rows.of_cell[cell]), rows_are_places=rows_are_places)


class Asked(NamedTuple):
    """One period, of which the replay is asked."""

    question: Question
    moments: Moments
    reading: Reading


def replays(
    asked: Sequence[Asked], zone: tzinfo, counts: Callable[[Scope], Truths], ages: Callable[[], Ages]
) -> list[Replay]:
    """The replay of every period; their cells are the same, and their flows are read at once. One query, and
    what ``ages`` asks; none where no young can have died.

    ``counts`` are the cells in a scope, ``ages`` those of :func:`ages_at_entry`.
    """
    lots = [_lots_to_replay(one.reading) for one in asked]
    wanted = np.flatnonzero(np.logical_or.reduce([replayed_lots for _, replayed_lots in lots]))
    if not len(wanted):
        return [Replay(None) for _ in asked]
    flows = _LotFlows([one for one, of in zip(asked, lots, strict=True) if of[1].any()], wanted, zone)
    return [
        Replay(_replayed(one, of, flows, counts(one.question.scope), ages()) if of[1].any() else None)
        for one, of in zip(asked, lots, strict=True)
    ]


def _replayed(
    asked: Asked, of: tuple[Numbers, Truths], flows: "_LotFlows", counts: Truths, ages: Ages
) -> Replayed:
    first, replayed_lots = of
    ends = asked.reading.ends
    found = flows.of(asked, replayed_lots[ends.lot])
    among_them = _died_soon_after_births(found, ends, first, first_day=asked.question.first_day)
    at = np.flatnonzero(among_them).astype(np.int64)
    lots = np.unique(ends.lot[at])
    return replayed(
        flows=found.of(among_them[found.from_cell] | among_them[found.to_cell]),
        start=_balances_before(asked.reading, among_them),
        herds=Herds(
            ends.ends(at),
            {*at[counts[at]].tolist()},
            dict(zip(lots.tolist(), first[lots].tolist(), strict=True)),
            ages,
        ),
        first_day=asked.question.first_day.toordinal(),
    )


class _DayFlows(NamedTuple):
    """Flows by the day on which they happened; cells by their position."""

    day: Numbers
    from_cell: Numbers
    to_cell: Numbers
    n: Numbers

    def of(self, which: Truths) -> list[DayFlow]:
        return list(map(DayFlow, *(column[which].tolist() for column in self)))


def _died_soon_after_births(flows: _DayFlows, ends: EndColumns, first: Numbers, *, first_day: date) -> Truths:
    """The cells of those groups of lots in which young may have died since the first day."""
    born, died = (ends.cause_called(cause) for cause in ("born", "died"))
    birth = ends.cause[flows.from_cell] == born
    death = (ends.cause[flows.to_cell] == died) & (flows.day >= first_day.toordinal())
    groups = groups_with_young_deaths(
        born_on=flows.day[birth],
        born=first[ends.lot[flows.to_cell[birth]]],
        died_on=flows.day[death],
        died=first[ends.lot[flows.from_cell[death]]],
        days=YOUNG_DAYS,
    )
    of_groups = np.zeros(len(first), dtype=np.bool_)
    of_groups[groups] = True
    among_them: Truths = of_groups[first[ends.lot]]
    return among_them


class _LotFlows:
    """The flows of all lots that are replayed, of all days of all periods."""

    def __init__(self, asked: Sequence[Asked], lots: Numbers, zone: tzinfo) -> None:
        """One query."""
        ends = asked[0].reading.ends
        self._first_day = min(_first_of(one.question) for one in asked)
        days = (max(one.question.last_day for one in asked) - self._first_day).days + 1
        told = {one.moments.closing.at for one in asked}
        self._knowledges = sorted(known_at for known_at in told if known_at is not None)
        found = dated_columns(
            lots.tolist(),
            begins=[start_of_day(self._first_day + timedelta(days=i), zone) for i in range(days)],
            before=max(one.moments.end for one in asked),
            knowledges=self._knowledges,
        )
        # Of other days than those of the periods there may be cells that no period names.
        named = np.isin(found.from_cell, ends.cell) & np.isin(found.to_cell, ends.cell)
        self._day, self._younger, from_cell, to_cell, self._n = (column[named] for column in found)
        self._from, self._to = ends.at(from_cell), ends.at(to_cell)
        self._inside = ends.inside

    def of(self, asked: Asked, among_them: Truths) -> _DayFlows:
        """Those of one period, into or out of inside cells that are ``among_them``."""
        first, last = (
            (day - self._first_day).days for day in (_first_of(asked.question), asked.question.last_day)
        )
        held = among_them & self._inside
        which = (self._day >= first) & (self._day <= last) & (held[self._from] | held[self._to])
        known_at = asked.moments.closing.at
        if known_at is not None:
            which &= self._younger <= bisect_left(self._knowledges, known_at)
        day = self._day[which] + self._first_day.toordinal()
        return _DayFlows(day, self._from[which], self._to[which], self._n[which])


def _first_of(question: Question) -> date:
    """The first day on which what was born may die young in the period."""
    return question.first_day - timedelta(days=YOUNG_DAYS)


def ages_at_entry() -> Ages:
    """Days of age at which young enter the book, by taxon; 0 when left out. One query."""
    told = Taxon.objects.exclude(counts_in_from="").values_list("pk", "counts_in_from")
    return {pk: age_at_entry(text) for pk, text in told}


def _lots_to_replay(reading: Reading) -> tuple[Numbers, Truths]:
    """By the number of a lot the first lot of its group, which gave animals to each other; and which lots are
    of those groups that had both births and, in the period, deaths."""
    ends = reading.ends
    born, died = (ends.cause_called(cause) for cause in ("born", "died"))
    a, b = (np.concatenate([reading.flows[i], reading.earlier[i]]) for i in (0, 1))
    lot_a, lot_b = ends.lot[a], ends.lot[b]
    cause_a, cause_b = ends.cause[a], ends.cause[b]
    between = (lot_a != lot_b) & (cause_a == 0) & (cause_b == 0)
    first = linked_lots(lot_a[between], lot_b[between], int(ends.lot.max(initial=0)) + 1)
    deaths = cause_b[: len(reading.flows.n)] == died
    return first, lots_to_replay(
        named=np.concatenate([lot_a, lot_b]),
        born=np.concatenate([lot_a[cause_a == born], lot_b[cause_b == born]]),
        died=lot_a[: len(deaths)][deaths],
        first=first,
    )


def _balances_before(reading: Reading, among_them: Truths) -> dict[int, int]:
    """Balances 30 days before the period: the opening, taken back by what has come since. Of inside cells
    that are ``among_them``."""
    size = len(reading.ends.cell)
    held = reading.opening.of(among_them[reading.opening.cell])
    before = sums(held.cell, held.n, size)
    for flows, sign in ((reading.late, 1), (reading.earlier, -1)):
        before += sums(flows.to_cell, sign * flows.n, size) - sums(flows.from_cell, sign * flows.n, size)
    at = np.flatnonzero((before != 0) & among_them & reading.ends.inside)
    return dict(zip(at.tolist(), before[at].tolist(), strict=True))
