"""Sources as bits are the sources that plain sets of labels would tell."""

from collections.abc import Collection

import networkx as nx
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.rules.kinds import EventKind
from inventory.book.rules.sources import ArrivalBits, inherit, label_of_arrival, label_of_lot

LOTS = st.integers(1, 6)
# Kinds of which some have one label whatever party or permit, and some labels come by several ways.
ARRIVALS = st.tuples(
    st.sampled_from(
        [
            kind.value
            for kind in (
                EventKind.TAKEN,
                EventKind.RECEIVED,
                EventKind.LOAN_IN,
                EventKind.OPENING,
                EventKind.BORN,
                EventKind.FOUND,
            )
        ]
    ),
    st.sampled_from(("", "Far Sea Centre", "Gull House")),
    st.sampled_from(("", "P1", "P2")),
)


@given(
    came=st.lists(st.tuples(LOTS, ARRIVALS), max_size=12),
    edges=st.lists(st.tuples(LOTS, LOTS), max_size=12),
)
def test_a_lot_carries_what_came_into_it_and_into_all_whose_animals_it_took(
    came: list[tuple[int, tuple[str, str, str]]], edges: list[tuple[int, int]]
) -> None:
    bits = ArrivalBits()
    arrived: dict[int, int] = {}
    for lot, arrival in came:
        arrived[lot] = arrived.get(lot, 0) | bits[arrival]
    before = dict(arrived)
    found = {lot: bits.label(own) for lot, own in inherit(arrived, edges).items()}
    assert arrived == before
    # The same by the ancestors of each lot in a graph of the regroups, which shares no code with ours.
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(lot for lot, _ in came)
    graph.add_edges_from(edges)
    plain = {lot: _labels({lot, *nx.ancestors(graph, lot)}, came) for lot in graph}
    assert found == {lot: label_of_lot(labels) for lot, labels in plain.items() if labels}


def _labels(lots: Collection[int], came: list[tuple[int, tuple[str, str, str]]]) -> set[str]:
    return {
        label_of_arrival(kind, party=party, permit=permit)
        for lot, (kind, party, permit) in came
        if lot in lots
    }
