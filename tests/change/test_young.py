"""Bounds of deaths within 30 days of birth, against every way in which it can have been."""

from collections.abc import Iterator
from functools import cache
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from census.change.rules.young import Bounds, LotDay, deaths_of_young
from census.change.rules.young_rows import Days

OLD = -1
_NUMBER = st.integers(0, 2)


@st.composite
def lot_days(draw: st.DrawFn) -> list[LotDay]:
    """Up to five days with a "young for 3 days" rule, so that animals grow old while we look."""
    days = sorted(draw(st.sets(st.integers(1, 9), max_size=5)))
    return [
        LotDay(
            day=day,
            born=((day + draw(st.integers(-1, 3)), draw(_NUMBER)),),
            other_in=draw(st.integers(0, 1)),
            deaths=draw(_NUMBER),
            other_out=draw(st.integers(0, 1)),
        )
        for day in days
    ]


def _every_way(start: int, days: list[LotDay], first_day: int) -> set[int]:
    """Numbers of young deaths over all choices of which animals died and which left."""

    @cache
    def after(i: int, herd: tuple[int, ...]) -> frozenset[int]:
        if i == len(days):
            return frozenset([0])
        day = days[i]
        present = [*herd, *([OLD] * day.other_in)]
        for last, n in day.born:
            present += [last] * n
        found: set[int] = set()
        for died, rest in _take(present, day.deaths, day.other_out):
            young = sum(last >= day.day for last in died) if day.day >= first_day else 0
            found |= {young + n for n in after(i + 1, tuple(sorted(rest)))}
        return frozenset(found)

    return set(after(0, (OLD,) * start))


def _take(present: list[int], deaths: int, others: int) -> Iterator[tuple[list[int], list[int]]]:
    """All (who died, who is left); what cannot be taken is an animal that is not in the book."""
    gone = min(len(present), deaths + others)
    for leaving in combinations(range(len(present)), gone):
        rest = [present[i] for i in range(len(present)) if i not in leaving]
        fewest = max(0, gone - others)
        for number in range(fewest, min(deaths, gone) + 1):
            for dying in combinations(leaving, number):
                yield [present[i] for i in dying], rest


@given(start=st.integers(0, 2), days=lot_days(), first_day=st.integers(0, 6))
def test_the_bounds_are_the_least_and_the_most_of_every_way(
    start: int, days: list[LotDay], first_day: int
) -> None:
    ways = _every_way(start, days, first_day)
    assert deaths_of_young(start=start, days=days, first_day=first_day) == Bounds(min(ways), max(ways))


@given(start=st.integers(0, 2), days=lot_days(), first_day=st.integers(0, 6))
def test_what_is_not_replayed_for_nobody_young_was_there_has_no_deaths_of_young(
    start: int, days: list[LotDay], first_day: int
) -> None:
    seen = Days(
        start,
        {day.day: dict(day.born) for day in days},
        {day.day: [day.other_in, day.deaths, day.other_out] for day in days},
    )
    assert seen.bounds(first_day) == deaths_of_young(start=start, days=days, first_day=first_day)


@pytest.mark.parametrize(
    ("start", "days", "expected"),
    [
        # A lot of newborn only: every death is proved.
        (0, [LotDay(100, born=((130, 14),)), LotDay(110, deaths=3)], Bounds(3, 3)),
        # The 30th day still counts, the 31st does not.
        (0, [LotDay(100, born=((130, 14),)), LotDay(130, deaths=3)], Bounds(3, 3)),
        (0, [LotDay(100, born=((130, 14),)), LotDay(131, deaths=3)], Bounds(0, 0)),
        # Two older animals may hide two of the three.
        (2, [LotDay(100, born=((130, 14),)), LotDay(110, deaths=3)], Bounds(1, 3)),
        # No birth at all proves and hides nothing.
        (9, [LotDay(110, deaths=3)], Bounds(0, 0)),
        # A lot below zero: deaths of animals that are not in the book prove nothing.
        (-6, [LotDay(110, deaths=3)], Bounds(0, 0)),
    ],
)
def test_worked_lots(start: int, days: list[LotDay], expected: Bounds) -> None:
    assert deaths_of_young(start=start, days=days, first_day=0) == expected
