"""The columns of a book that has grown are those before with the new flows added, whatever their moments."""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.rules.columns import Amounts, EndColumns, Flows
from inventory.book.rules.period_columns import EnteredFlow, PeriodColumns, Span, with_entered

DAY0 = datetime(2026, 1, 1, tzinfo=UTC)
NOTHING = Flows(*(np.zeros(0, dtype=np.int64) for _ in range(3)))
EMPTY = PeriodColumns(Amounts(*NOTHING[:2]), Amounts(*NOTHING[:2]), NOTHING, NOTHING, NOTHING)


def _moment(day: int) -> datetime:
    return DAY0 + timedelta(days=day)


def _span(cuts: list[int], opening: datetime | None, closing: datetime | None) -> Span:
    earlier, start, end = map(_moment, sorted(cuts))
    return Span(earlier, start, end, opening, closing)


moments = st.integers(0, 12).map(_moment)
flows = st.lists(
    st.builds(
        EnteredFlow,
        st.integers(1, 4),
        st.integers(5, 7),
        st.integers(1, 3),
        st.booleans(),
        moments,
        moments,
    ),
    max_size=12,
)
knowledges = st.none() | moments
spans = st.builds(
    _span,
    st.lists(st.integers(0, 12), min_size=3, max_size=3, unique=True),
    knowledges,
    knowledges,
)


def _held(of: Sequence[EnteredFlow], before: datetime, known_at: datetime | None) -> dict[int, int]:
    """Every flow that is dated before and was entered by then, one by one."""
    held: Counter[int] = Counter()
    for flow in of:
        if flow.effective_at < before and (known_at is None or flow.entered_at <= known_at):
            held[flow.to_cell] += flow.n
            held[flow.from_cell] -= flow.n
    return {cell: n for cell, n in held.items() if n}


def _moved(columns: Flows) -> dict[int, int]:
    """By how much each cell changes."""
    moved: Counter[int] = Counter()
    for a, b, n in zip(*(column.tolist() for column in columns), strict=True):
        moved[b] += n
        moved[a] -= n
    return {cell: n for cell, n in moved.items() if n}


def _amounts(amounts: Amounts) -> dict[int, int]:
    return dict(zip(amounts.cell.tolist(), amounts.n.tolist(), strict=True))


@given(before=flows, more=flows, span=spans)
def test_what_is_added_is_what_each_flow_counts_by_its_two_moments(
    before: list[EnteredFlow], more: list[EnteredFlow], span: Span
) -> None:
    """Read at once or in two parts; and opening, late ones and flows come to the closing."""
    every = [*before, *more]
    found = with_entered(with_entered(EMPTY, span, before), span, more)
    assert _amounts(found.opening) == _held(every, span.start, span.opening_known)
    assert _amounts(found.closing) == _held(every, span.end, span.closing_known)
    of_days_before = Counter(_held(every, span.start, span.closing_known))
    of_days_before.subtract(_held(every, span.earlier, span.closing_known))
    assert _moved(found.earlier) == {cell: n for cell, n in of_days_before.items() if n}
    come_to = Counter(_amounts(found.opening))
    for part in (found.late, found.flows):
        come_to.update(_moved(part))
    assert {cell: n for cell, n in come_to.items() if n} == _amounts(found.closing)
    at_once = with_entered(EMPTY, span, every)
    for one, other in zip(found, at_once, strict=True):
        assert np.array_equal(np.array(one), np.array(other))


@given(flow=flows.filter(len).map(lambda found: found[0]))
def test_a_reversal_stands_in_the_column_of_what_it_takes_back(flow: EnteredFlow) -> None:
    span = Span(_moment(-2), _moment(-1), _moment(13), None, None)
    (a, b, n) = (int(column[0]) for column in with_entered(EMPTY, span, [flow]).flows)
    if flow.reversal:
        assert (a, b, n) == (flow.to_cell, flow.from_cell, -flow.n)
    else:
        assert (a, b, n) == (flow.from_cell, flow.to_cell, flow.n)


def _ends(cells: list[int], units: tuple[str, ...]) -> EndColumns:
    """Cells whose unit, owner and cause go by their number, under numbers of words of their own."""
    numbers = np.array(cells, dtype=np.int64)
    truths = numbers % 2 == 0
    words = numbers % (len(units) - 1) + 1
    return EndColumns(
        numbers, numbers * 2, numbers * 3, words, words, numbers, truths, numbers % 4, ~truths, words,
        units, units, units,
    )  # fmt: skip


@pytest.mark.parametrize("more", [("", "off_site", "x"), ("", "off_site", "b", "a"), ("", "c", "off_site")])
def test_cells_with_more_of_them_say_what_each_said(more: tuple[str, ...]) -> None:
    """Words that both have and words that one has, in another order."""
    first, second = _ends([2, 5, 9], ("", "off_site", "a", "b")), _ends([1, 6, 12], more)
    joined = first.and_(second)
    assert joined.cell.tolist() == [1, 2, 5, 6, 9, 12]
    for part in (first, second):
        again = joined.of(part.cell)
        every = np.arange(len(part.cell))
        assert again.ends(every) == part.ends(every)
        assert [again.owners[i] for i in again.owner] == [part.owners[i] for i in part.owner]
