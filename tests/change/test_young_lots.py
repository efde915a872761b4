"""Which lots are replayed for deaths of young, and the days that are read of them."""

from datetime import datetime, timedelta

import networkx
import numpy as np
import pytest
from django.utils.timezone import get_current_timezone
from hypothesis import given
from hypothesis import strategies as st

from census.change.rules.young_lots import groups_with_young_deaths, linked_lots, lots_to_replay
from inventory.book.queries.quantities import dated_columns, flows_of_lots
from inventory.book.rules.columns import Numbers
from inventory.book.rules.happened import start_of_day
from tests.factories import make_event

from .sample import make_sample

SIZE = 9
_LOT = st.integers(0, SIZE - 1)
_LOTS = st.lists(_LOT, max_size=6)


def _whole(values: list[int]) -> Numbers:
    return np.array(values, dtype=np.int64)


@given(pairs=st.lists(st.tuples(_LOT, _LOT), max_size=10), named=_LOTS, born=_LOTS, died=_LOTS)
def test_linked_lots_are_the_connected_components_of_a_graph_library(
    pairs: list[tuple[int, int]], named: list[int], born: list[int], died: list[int]
) -> None:
    graph = networkx.Graph(pairs)
    graph.add_nodes_from(range(SIZE))
    groups = list(networkx.connected_components(graph))
    first = linked_lots(_whole([a for a, _ in pairs]), _whole([b for _, b in pairs]), SIZE)
    assert first.tolist() == [next(min(group) for group in groups if lot in group) for lot in range(SIZE)]
    replayed = lots_to_replay(named=_whole(named), born=_whole(born), died=_whole(died), first=first)
    assert set(np.flatnonzero(replayed).tolist()) == {
        lot for group in groups if group & {*born} and group & {*died} for lot in group & {*named}
    }


_OF_A_DAY = st.lists(st.tuples(_LOT, st.integers(0, 60)), max_size=8)


@given(births=_OF_A_DAY, deaths=_OF_A_DAY, days=st.integers(0, 40))
def test_young_die_in_the_groups_in_which_a_death_follows_a_birth_within_days(
    births: list[tuple[int, int]], deaths: list[tuple[int, int]], days: int
) -> None:
    found = groups_with_young_deaths(
        born_on=_whole([day for _, day in births]),
        born=_whole([group for group, _ in births]),
        died_on=_whole([day for _, day in deaths]),
        died=_whole([group for group, _ in deaths]),
        days=days,
    )
    assert set(found.tolist()) == {
        group
        for group, died in deaths
        if any(of == group and born <= died <= born + days for of, born in births)
    }


@pytest.mark.django_db
def test_days_as_columns_are_the_flows_of_the_lots() -> None:
    sample = make_sample()
    goby, tank = sample.lots["goby"], sample.places["E1"]
    zone = get_current_timezone()
    wrong = make_event("found", lot=goby, place=tank, happened="2026-09-20")
    make_event("reversed", reverses=wrong, happened="2026-09-20")
    lots = [goby.pk, sample.lots["wrasse"].pk]
    first, number = datetime(2026, 1, 1, tzinfo=zone).date(), 300
    begins = [start_of_day(first + timedelta(days=i), zone) for i in range(number)]
    before = start_of_day(first + timedelta(days=number), zone)
    plain = flows_of_lots(lots, since=begins[0], before=before)
    middle = sorted(flow.effective_at for flow in plain)[len(plain) // 2]
    knowledges = sorted({middle, middle + timedelta(days=20)})
    found = dated_columns(lots, begins=begins, before=before, knowledges=knowledges)
    known = [
        {flow.flow_id for flow in flows_of_lots(lots, since=begins[0], before=before, known_at=moment)}
        for moment in knowledges
    ]
    wanted = [
        (
            (flow.effective_at.astimezone(zone).date() - first).days,
            sum(flow.flow_id not in of_moment for of_moment in known),
            flow.from_cell,
            flow.to_cell,
            flow.n,
        )
        for flow in plain
    ]
    told = list(zip(*(column.tolist() for column in found), strict=True))
    assert sorted(told) == sorted(wanted)
    assert len({younger for _, younger, *_ in told}) > 1
