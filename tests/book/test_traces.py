"""What happened to the animals of some lots, through every lot that they shared animals with."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction

from inventory.book.queries.quantities import lots_that_share, traced_flows
from inventory.book.rules.kinds import EventKind

from ..factories import NOW, make_event, make_lot, make_person, make_place, make_reversal

pytestmark = pytest.mark.django_db

LATER = datetime(2027, 1, 1, tzinfo=ZoneInfo("Atlantic/Faroe"))


def test_lots_that_shared_animals_are_traced_together_and_others_left_out() -> None:
    """One gives to two, two gives to three: who asks for three hears of all; the fourth has no part."""
    tank = make_place()
    one, two, three, four = (make_lot() for _ in range(4))
    for lot in (one, two, three, four):
        make_event(lot=lot, place=tank, unknown=5, happened="2026-09-01")
    make_event(EventKind.REGROUPED, lot=one, to_lot=two, place=tank, unknown=2, happened="2026-09-02")
    make_event(EventKind.REGROUPED, lot=two, to_lot=three, place=tank, unknown=1, happened="2026-09-03")
    traced = traced_flows([three.pk], before=LATER)
    assert traced.family == dict.fromkeys((one.pk, two.pk, three.pk), one.pk)
    assert [flow.kind for flow in traced.flows] == ["received"] * 3 + ["regrouped"] * 2
    assert {traced.ends[flow.to_cell].lot_id for flow in traced.flows} == {one.pk, two.pk, three.pk}
    assert traced_flows([four.pk], before=LATER).family == {four.pk: four.pk}


def test_flows_stand_in_the_order_in_which_they_happened_arrivals_first() -> None:
    tank, lot = make_place(), make_lot()
    make_event(lot=lot, place=tank, unknown=1, happened="2026-08-01")
    make_event(EventKind.DIED, lot=lot, place=tank, happened="2026-09-02", permit_number="P1")
    make_event(lot=lot, place=tank, unknown=3, happened="2026-09-02", party="Gull House")
    traced = traced_flows([lot.pk], before=LATER)
    assert [(flow.kind, flow.n, flow.party, flow.permit_number) for flow in traced.flows] == [
        *(("received", 1, "", ""), ("received", 3, "Gull House", ""), ("died", 1, "", "P1")),
    ]


def test_what_was_reversed_did_not_happen_but_is_heard_of_until_then() -> None:
    tank, lot = make_place(), make_lot()
    event = make_event(lot=lot, place=tank, unknown=3, happened="2026-08-01")
    make_event(lot=lot, place=tank, unknown=2, happened="2026-08-02")
    moment = NOW.replace(hour=12)
    make_reversal(event, now=moment, approved_by=make_person())
    assert [flow.n for flow in traced_flows([lot.pk], before=LATER).flows] == [2]
    assert [flow.n for flow in traced_flows([lot.pk], before=LATER, known_at=NOW).flows] == [3, 2]


def test_the_number_of_queries_does_not_depend_on_lots_and_flows(django_assert_num_queries: Any) -> None:
    tank = make_place()

    def fill() -> int:
        one, two = make_lot(), make_lot()
        make_event(lot=one, place=tank, unknown=5, happened="2026-09-01")
        make_event(EventKind.REGROUPED, lot=one, to_lot=two, place=tank, unknown=2, happened="2026-09-02")
        return two.pk

    lots = [fill()]
    with django_assert_num_queries(4):
        assert len(traced_flows(lots, before=LATER).flows) == 2
    lots += [fill() for _ in range(3)]
    with django_assert_num_queries(4):
        assert len(traced_flows(lots, before=LATER).flows) == 8


@pytest.mark.django_db(transaction=True)
def test_which_lots_share_animals_is_read_again_when_animals_are_regrouped(
    django_assert_num_queries: Any,
) -> None:
    tank = make_place()
    one, two, three = make_lot(), make_lot(), make_lot()
    make_event(lot=one, place=tank, unknown=9, happened="2026-09-01")
    assert lots_that_share([one.pk]) == {one.pk: {one.pk}}
    make_event(EventKind.REGROUPED, lot=one, to_lot=two, place=tank, unknown=2, happened="2026-09-02")
    with django_assert_num_queries(2):
        assert lots_that_share([one.pk]) == {one.pk: {one.pk, two.pk}}
    make_event(EventKind.DIED, lot=one, place=tank, unknown=1, happened="2026-09-03")
    with django_assert_num_queries(1):
        assert lots_that_share([two.pk]) == {two.pk: {one.pk, two.pk}}
    make_event(EventKind.REGROUPED, lot=two, to_lot=three, place=tank, unknown=1, happened="2026-09-04")
    assert lots_that_share([one.pk]) == {one.pk: {one.pk, two.pk, three.pk}}
    with transaction.atomic():
        four = make_lot()
        make_event(EventKind.REGROUPED, lot=one, to_lot=four, place=tank, unknown=1, happened="2026-09-05")
        assert four.pk in lots_that_share([one.pk])[one.pk]
        transaction.set_rollback(True)
    assert lots_that_share([one.pk]) == {one.pk: {one.pk, two.pk, three.pk}}


def test_no_lots_have_no_trace_and_ask_nothing(django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(0):
        assert traced_flows([], before=LATER).flows == []
