"""Which lots are replayed for deaths of young, and the days that are read of them."""

from datetime import datetime, timedelta

import networkx
import numpy as np
import pytest
from django.utils.timezone import get_current_timezone
from hypothesis import given
from hypothesis import strategies as st

from census.change.rules.young_lots import linked_lots, lots_to_replay
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
