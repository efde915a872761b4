"""The ledger's writer: what it books, what it refuses, and that nothing is ever half done."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, tzinfo
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, connection, transaction

from inventory.book.actions.post import LedgerRefused, post_event, post_events
from inventory.book.models import Cell, Event, Flag, Flow, Lot, LotKind, PlaceKind
from inventory.book.rules.kinds import EventKind
from tests.factories import (
    make_draft,
    make_event,
    make_house,
    make_lot,
    make_person,
    make_place,
    make_reversal,
)

pytestmark = pytest.mark.django_db


def held(lot: Lot, place: Any = None, **cell: Any) -> int:
    cells = Cell.objects.filter(lot=lot, inside=True, **cell)
    if place:
        cells = cells.filter(account__place=place)
    return sum(cells.values_list("balance", flat=True))


@contextmanager
def refused_by_the_database() -> Iterator[Any]:
    with (
        pytest.raises(IntegrityError, match="append-only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        yield cursor


def refusal(draft: Any, now: datetime, zone: tzinfo) -> LedgerRefused:
    before = (Event.objects.count(), Flow.objects.count(), Cell.objects.count())
    with pytest.raises(LedgerRefused) as caught:
        post_event(draft, now=now, zone=zone)
    assert (Event.objects.count(), Flow.objects.count(), Cell.objects.count()) == before
    return caught.value


def test_animals_that_arrive_and_die_leave_the_rest() -> None:
    lot, place = make_lot(), make_place()
    make_event("taken", lot=lot, place=place, females=5, males=2)
    make_event("died", lot=lot, place=place, females=1, happened="2026-09-02T08:10")
    assert held(lot, place) == 6
    assert held(lot, place, sex="female") == 4
    lot.refresh_from_db()
    assert lot.held == 6


def test_saving_a_lot_never_writes_back_a_stale_number_held() -> None:
    lot = make_lot()
    make_event("taken", lot=lot, unknown=5)
    lot.house_name = "Thole"
    lot.save()
    lot.refresh_from_db()
    assert (lot.house_name, lot.held) == ("Thole", 5)


def test_the_same_identifier_with_the_same_content_is_one_event(ledger_now: datetime, zone: tzinfo) -> None:
    draft = make_draft("received", lot=make_lot(), place=make_place(), unknown=3)
    first = post_event(draft, now=ledger_now, zone=zone)
    second = post_event(draft, now=ledger_now, zone=zone)
    assert (second.event_id, second.already) == (first.event_id, True)
    assert Event.objects.count() == 1


def test_the_same_identifier_twice_in_one_batch_is_one_event(ledger_now: datetime, zone: tzinfo) -> None:
    draft = make_draft("received", lot=make_lot(), place=make_place(), unknown=3)
    answers = post_events([draft, draft], now=ledger_now, zone=zone)
    assert [answer.already for answer in answers] == [False, True]
    assert answers[0].event_id == answers[1].event_id


def test_the_same_identifier_with_other_content_is_refused(ledger_now: datetime, zone: tzinfo) -> None:
    lot, place, identifier, person = make_lot(), make_place(), uuid4(), make_person()
    same: dict[str, Any] = {"lot": lot, "place": place, "identifier": identifier, "entered_by": person}
    post_event(make_draft("received", unknown=3, **same), now=ledger_now, zone=zone)
    error = refusal(make_draft("received", unknown=4, **same), ledger_now, zone)
    assert error.problems[0].column == "ref"


def test_a_reversal_takes_back_at_the_moment_of_what_it_takes_back() -> None:
    lot, place = make_lot(), make_place()
    make_event("taken", lot=lot, place=place, unknown=5)
    death = make_event("died", lot=lot, place=place, unknown=2, happened="2026-09-10")
    reversal = make_reversal(death, happened="2026-09-20")
    assert held(lot, place) == 5
    assert reversal.effective_at == death.effective_at
    assert reversal.happened == "2026-09-20"


def test_an_event_is_taken_back_once_only(ledger_now: datetime, zone: tzinfo) -> None:
    arrival = make_event("taken", unknown=5)
    reversal = make_reversal(arrival)
    draft = make_draft("reversed", reverses=arrival, happened="2026-10-05")
    assert "already" in refusal(draft, ledger_now, zone).problems[0].message
    draft = make_draft("reversed", reverses=reversal, happened="2026-10-05")
    assert "not reversed" in refusal(draft, ledger_now, zone).problems[0].message


def test_an_event_and_its_reversal_may_come_in_one_batch(ledger_now: datetime, zone: tzinfo) -> None:
    lot, place = make_lot(), make_place()
    arrival = make_draft("taken", lot=lot, place=place, unknown=5)
    reversal = make_draft("reversed", reverses=arrival.identifier, happened="2026-09-03")
    post_events([reversal, arrival], now=ledger_now, zone=zone)
    assert held(lot) == 0


def test_an_individual_entered_taken_back_and_entered_again_may_come_in_one_batch(
    ledger_now: datetime, zone: tzinfo
) -> None:
    conger, tank, other = make_lot(kind=LotKind.INDIVIDUAL), make_place(), make_place()
    wrong = make_draft("received", lot=conger, place=tank, happened="2026-09-01")
    reversal = make_draft("reversed", reverses=wrong.identifier, happened="2026-09-20")
    right = make_draft("received", lot=conger, place=other, happened="2026-09-01")
    post_events([wrong, reversal, right], now=ledger_now, zone=zone)
    assert (held(conger, tank), held(conger, other)) == (0, 1)


def test_what_an_event_takes_from_one_cell_is_one_flow() -> None:
    lot, tank = make_lot(), make_place()
    make_event("born", lot=lot, place=tank, unknown=1)
    death = make_event("died", lot=lot, place=tank, unknown=3, happened="2026-09-02")
    assert [flow.n for flow in death.flows.all()] == [3]


def test_an_individual_cannot_die_twice(ledger_now: datetime, zone: tzinfo) -> None:
    conger, tank = make_lot(kind=LotKind.INDIVIDUAL), make_place()
    make_event("received", lot=conger, place=tank)
    make_event("died", lot=conger, place=tank, happened="2026-09-10")
    error = refusal(make_draft("died", lot=conger, place=tank, happened="2026-09-11"), ledger_now, zone)
    assert "died on 2026-09-10" in error.problems[0].message


def test_an_individual_never_arrives_twice(ledger_now: datetime, zone: tzinfo) -> None:
    conger = make_lot(kind=LotKind.INDIVIDUAL)
    make_event("received", lot=conger)
    error = refusal(make_draft("found", lot=conger, place=make_place()), ledger_now, zone)
    assert "held twice" in error.problems[0].message


def test_an_individual_is_one_animal(ledger_now: datetime, zone: tzinfo) -> None:
    draft = make_draft("received", lot=make_lot(kind=LotKind.INDIVIDUAL), place=make_place(), females=2)
    assert "number is 1" in refusal(draft, ledger_now, zone).problems[0].message


def test_an_individual_backdated_out_of_a_later_life_is_refused(ledger_now: datetime, zone: tzinfo) -> None:
    ray, tank, other = make_lot(kind=LotKind.INDIVIDUAL), make_place(), make_place()
    make_event("received", lot=ray, place=tank, happened="2026-08-01")
    make_event("moved", lot=ray, place=tank, to_place=other, happened="2026-09-01")
    draft = make_draft("died", lot=ray, place=tank, happened="2026-08-15")
    assert "without being there" in refusal(draft, ledger_now, zone).problems[0].message


def test_the_sex_of_an_individual_need_not_be_stated_to_record_its_death() -> None:
    ray, tank = make_lot(kind=LotKind.INDIVIDUAL), make_place()
    make_event("received", lot=ray, place=tank, females=1)
    make_event("died", lot=ray, place=tank, unknown=1, happened="2026-09-10")
    assert held(ray) == 0


def test_an_individual_where_it_is_not_says_where_it_is(ledger_now: datetime, zone: tzinfo) -> None:
    ray, tank = make_lot(kind=LotKind.INDIVIDUAL), make_place("E06")
    make_event("received", lot=ray, place=tank)
    draft = make_draft("died", lot=ray, place=make_place(), happened="2026-09-10")
    assert "is in E06" in refusal(draft, ledger_now, zone).problems[0].message


def test_a_group_below_zero_is_accepted_and_flagged_with_an_owner() -> None:
    house = make_house()
    lot, tank = make_lot(), make_place()
    make_event("born", lot=lot, place=tank, unknown=2)
    make_event("died", lot=lot, place=tank, unknown=3, happened="2026-09-02")
    flag = Flag.objects.get(settled_at=None)
    assert (flag.lot, flag.place, flag.owner) == (lot, tank, house.registrar)
    make_event("born", lot=lot, place=tank, unknown=1, happened="2026-09-01")
    assert not Flag.objects.filter(settled_at=None).exists()


def test_a_death_of_unknown_sex_takes_the_only_sex_there_is() -> None:
    lot, tank = make_lot(), make_place()
    make_event("born", lot=lot, place=tank, females=4)
    make_event("died", lot=lot, place=tank, unknown=1, happened="2026-09-02")
    assert held(lot, sex="female") == 3
    assert held(lot, sex="unknown") == 0


def test_a_death_of_unknown_sex_among_several_invents_no_sex() -> None:
    lot, tank = make_lot(), make_place()
    make_event("born", lot=lot, place=tank, females=4, males=4)
    make_event("died", lot=lot, place=tank, unknown=1, happened="2026-09-02")
    assert held(lot) == 7
    assert held(lot, sex="unknown") == -1
    assert not Flag.objects.exists()


def test_moving_the_whole_lot_takes_every_sex_along() -> None:
    lot, tank, other = make_lot(), make_place(), make_place()
    make_event("received", lot=lot, place=tank, females=4, males=3, unknown=2)
    make_event("moved", lot=lot, place=tank, to_place=other, unknown=9, happened="2026-09-02")
    assert held(lot, tank) == 0
    assert (held(lot, other, sex="female"), held(lot, other, sex="male")) == (4, 3)


def test_missing_animals_stay_in_the_book_until_written_off() -> None:
    lot, tank = make_lot(), make_place()
    make_event("received", lot=lot, place=tank, unknown=10)
    make_event("missing", lot=lot, place=tank, unknown=4, happened="2026-09-02")
    make_event("seen_again", lot=lot, place=tank, unknown=1, happened="2026-09-03")
    assert (held(lot), held(lot, standing="missing")) == (10, 3)
    make_event("unaccounted", lot=lot, place=tank, unknown=5, happened="2026-09-04")
    assert (held(lot), held(lot, standing="missing")) == (5, 0)


def test_a_written_off_animal_that_is_seen_again_comes_back() -> None:
    conger, tank = make_lot(kind=LotKind.INDIVIDUAL), make_place()
    make_event("received", lot=conger, place=tank, males=1)
    make_event("missing", lot=conger, place=tank, happened="2026-09-02")
    make_event("unaccounted", lot=conger, place=tank, happened="2026-09-03")
    assert held(conger) == 0
    make_event("seen_again", lot=conger, place=tank, happened="2026-09-04")
    assert held(conger, tank, standing="present", sex="male") == 1


def test_a_loan_goes_to_a_place_held_by_others_and_comes_back() -> None:
    lot, tank = make_lot(), make_place()
    make_event("received", lot=lot, place=tank, females=3)
    make_event("loan_out", lot=lot, place=tank, females=2, happened="2026-09-02", party="Next Door")
    assert held(lot, account__place__kind=PlaceKind.OFF_SITE) == 2
    make_event("back_from_loan", lot=lot, place=tank, females=1, happened="2026-09-03")
    assert held(lot, tank) == 2


def test_one_animal_taken_out_of_a_group_is_no_birth_and_no_death() -> None:
    group, tank = make_lot(), make_place()
    single = make_lot(kind=LotKind.INDIVIDUAL, taxon=group.taxon)
    make_event("received", lot=group, place=tank, females=3)
    make_event("regrouped", lot=group, place=tank, females=1, to_lot=single, happened="2026-09-02")
    assert (held(group), held(single)) == (2, 1)
    make_event("regrouped", lot=single, place=tank, females=1, to_lot=group, happened="2026-09-03")
    assert (held(group), held(single)) == (3, 0)


def test_units_are_never_mixed_by_a_regroup(ledger_now: datetime, zone: tzinfo) -> None:
    animals, colonies, tank = make_lot(), make_lot(unit="colony"), make_place()
    make_event("received", lot=animals, place=tank, unknown=3)
    draft = make_draft("regrouped", lot=animals, place=tank, to_lot=colonies, happened="2026-09-02")
    assert "units are never mixed" in refusal(draft, ledger_now, zone).problems[0].message


@pytest.mark.parametrize(
    ("stated", "column"),
    [
        ({"unknown": 0}, "numbers"),
        ({"unknown": -1}, "numbers"),
        ({"lot": "nobody"}, "accession"),
        ({"place": "nowhere"}, "place"),
        ({"happened": "2027-01-01"}, "happened"),
        ({"entered_by": "Nobody Known"}, "entered_by"),
        ({"to_sex": "male"}, "to_accession"),
    ],
)
def test_what_cannot_be_booked_names_its_column(
    stated: dict[str, Any], column: str, ledger_now: datetime, zone: tzinfo
) -> None:
    draft = make_draft("received", **{"lot": make_lot(), "place": make_place(), **stated})
    assert [problem.column for problem in refusal(draft, ledger_now, zone).problems] == [column]


@pytest.mark.parametrize("kind", ["moved", "loan_out"])
def test_a_move_from_a_place_that_never_held_the_lot_is_refused(
    kind: str, ledger_now: datetime, zone: tzinfo
) -> None:
    lot = make_lot()
    make_event("received", lot=lot, place=make_place("E01"), unknown=3)
    to_place = make_place() if kind == "moved" else ""
    draft = make_draft(kind, lot=lot, place=make_place("E99"), to_place=to_place, happened="2026-09-02")
    message = refusal(draft, ledger_now, zone).problems[0].message
    assert "never held in E99; the book has it in E01" in message


def test_feed_is_never_stock(ledger_now: datetime, zone: tzinfo) -> None:
    draft = make_draft("received", lot=make_lot(), place=make_place(kind=PlaceKind.FEED))
    assert "feed" in refusal(draft, ledger_now, zone).problems[0].message


def test_all_problems_of_a_batch_are_told_at_once(ledger_now: datetime, zone: tzinfo) -> None:
    lot, place = make_lot(), make_place()
    drafts = [
        make_draft("received", lot=lot, place=place, unknown=2),
        make_draft("received", lot="nobody", place=place),
        make_draft("received", lot=lot, place="nowhere"),
    ]
    with pytest.raises(LedgerRefused) as caught:
        post_events(drafts, now=ledger_now, zone=zone)
    assert [problem.draft for problem in caught.value.problems] == [1, 2]
    assert not Event.objects.exists()


def test_every_event_carries_the_hash_of_the_one_before() -> None:
    events = [make_event("received"), make_event("taken"), make_event("found")]
    assert [event.id for event in events] == [1, 2, 3]
    assert events[0].previous_hash == "0" * 64
    assert [event.previous_hash for event in events[1:]] == [event.hash for event in events[:-1]]


@pytest.mark.parametrize(
    ("table", "change"),
    [
        ("book_event", "UPDATE book_event SET note = 'x'"),
        ("book_event", "DELETE FROM book_event"),
        ("book_flow", "UPDATE book_flow SET n = 7"),
        ("book_flow", "DELETE FROM book_flow"),
        ("book_cell", "UPDATE book_cell SET sex = 'male'"),
        ("book_cell", "DELETE FROM book_cell"),
    ],
)
def test_the_database_itself_refuses_to_change_the_past(table: str, change: str) -> None:
    make_event("received", unknown=3)
    with refused_by_the_database() as cursor:
        cursor.execute(change)


@pytest.mark.skipif(connection.vendor != "sqlite", reason="INSERT OR REPLACE is SQLite's")
def test_insert_or_replace_does_not_slip_past_the_delete_trigger() -> None:
    event = make_event("received")
    with refused_by_the_database() as cursor:
        cursor.execute(
            "INSERT OR REPLACE INTO book_flow (id, event_id, from_cell_id, to_cell_id, n, effective_at, "
            "entered_at) SELECT id, event_id, from_cell_id, to_cell_id, 9, effective_at, entered_at "
            "FROM book_flow WHERE event_id = %s",
            [event.id],
        )


@pytest.mark.skipif(connection.vendor != "postgresql", reason="TRUNCATE is PostgreSQL's")
def test_truncate_is_refused() -> None:
    make_event("received")
    with refused_by_the_database() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # else the pending foreign keys refuse it first
        cursor.execute("TRUNCATE book_flow CASCADE")


@pytest.mark.parametrize("size", [1, 40])
def test_posting_takes_the_same_number_of_queries_for_one_event_and_for_many(
    size: int, ledger_now: datetime, zone: tzinfo, django_assert_max_num_queries: Any
) -> None:
    person, place = make_person(), make_place()
    drafts = [
        make_draft("received", lot=make_lot(), place=place, unknown=3, entered_by=person) for _ in range(size)
    ]
    with django_assert_max_num_queries(20):
        post_events(drafts, now=ledger_now, zone=zone)


def test_moments_of_a_batch_may_come_in_any_order(ledger_now: datetime, zone: tzinfo) -> None:
    conger, tank, other = make_lot(kind=LotKind.INDIVIDUAL), make_place(), make_place()
    drafts = [
        make_draft("died", lot=conger, place=other, happened="2026-09-09"),
        make_draft("moved", lot=conger, place=tank, to_place=other, happened="2026-09-05"),
        make_draft("received", lot=conger, place=tank, happened="2026-09-05"),
    ]
    answers = post_events(drafts, now=ledger_now, zone=zone)
    assert [answer.event_id for answer in answers] == [3, 2, 1]
    assert Event.objects.get(pk=1).kind == EventKind.RECEIVED
