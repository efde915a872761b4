"""The ledger's writer: entries that state when they were entered, several lines of one event, loans
coming back, and what no column can hold."""

from dataclasses import replace
from datetime import datetime, timedelta, tzinfo
from typing import Any

import pytest

from inventory.book.actions.close import close_period
from inventory.book.actions.post import LedgerRefused, post_event
from inventory.book.models import Cell, LotKind, PlaceKind
from inventory.book.queries.verification import verify
from inventory.book.rules.drafts import Problem
from tests.factories import make_draft, make_event, make_lot, make_period, make_person, make_place

pytestmark = pytest.mark.django_db


def refused(draft: Any, now: datetime, zone: tzinfo) -> Problem:
    with pytest.raises(LedgerRefused) as caught:
        post_event(draft, now=now, zone=zone)
    assert len(caught.value.problems) == 1
    return caught.value.problems[0]


def balances() -> dict[str, int]:
    cells = Cell.objects.exclude(balance=0).order_by("pk")
    return {
        f"{place or cause} {sex}": n
        for place, cause, sex, n in cells.values_list(
            "account__place__code", "account__cause", "sex", "balance"
        )
    }


def close_second_quarter(closed_at: datetime, zone: tzinfo) -> None:
    period = make_period("2026 Q2", "2026-04-01", "2026-06-30")
    close_period(period, closed_at=closed_at, signed_by=make_person(), zone=zone)


def test_an_entry_before_a_closing_is_refused_also_for_a_day_before_the_period(
    ledger_now: datetime, zone: tzinfo
) -> None:
    lot, place = make_lot(), make_place()
    make_event("taken", lot=lot, place=place, unknown=5, happened="2026-01-10")
    close_second_quarter(ledger_now - timedelta(days=1), zone)
    slip: dict[str, Any] = {"lot": lot, "place": place, "happened": "2026-02-10"}
    entered_then = make_draft("died", entered_at=datetime(2026, 2, 11, tzinfo=zone), **slip)
    assert refused(entered_then, ledger_now, zone).column == "entered"
    post_event(make_draft("died", **slip), now=ledger_now, zone=zone)
    assert verify(zone).findings == []


def test_a_reversal_of_what_a_closing_counted_is_not_entered_before_that_closing(
    ledger_now: datetime, zone: tzinfo
) -> None:
    arrival = make_event("taken", unknown=5, happened="2026-05-10", now=datetime(2026, 5, 11, tzinfo=zone))
    close_second_quarter(datetime(2026, 7, 15, 9, tzinfo=zone), zone)
    slip = make_draft(
        "reversed", reverses=arrival, happened="2026-07-10", entered_at=datetime(2026, 7, 11, tzinfo=zone)
    )
    assert refused(slip, ledger_now, zone).column == "entered"
    assert verify(zone).findings == []


def test_a_reversal_is_not_entered_before_what_it_takes_back(ledger_now: datetime, zone: tzinfo) -> None:
    arrival = make_event("taken", unknown=5, happened="2026-05-10", now=datetime(2026, 9, 11, tzinfo=zone))
    slip = make_draft(
        "reversed", reverses=arrival, happened="2026-07-10", entered_at=datetime(2026, 7, 11, tzinfo=zone)
    )
    assert refused(slip, ledger_now, zone).column == "entered"


def test_two_lines_of_one_event_do_not_take_the_same_animals(ledger_now: datetime, zone: tzinfo) -> None:
    lot, place = make_lot(), make_place("E01")
    make_event("received", lot=lot, place=place, unknown=3, females=3)
    deaths = make_draft("died", lot=lot, place=place, unknown=3, happened="2026-09-02")
    post_event(replace(deaths, lines=(*deaths.lines, *deaths.lines)), now=ledger_now, zone=zone)
    assert balances() == {
        "received unknown": -3,
        "received female": -3,
        "died unknown": 3,
        "died female": 3,
    }


def test_two_lines_bring_back_no_more_than_was_written_off(ledger_now: datetime, zone: tzinfo) -> None:
    lot, place = make_lot(), make_place("E01")
    make_event("received", lot=lot, place=place, unknown=5)
    make_event("unaccounted", lot=lot, place=place, unknown=2, happened="2026-09-02")
    seen = make_draft("seen_again", lot=lot, place=place, unknown=2, happened="2026-09-03")
    post_event(replace(seen, lines=(*seen.lines, *seen.lines)), now=ledger_now, zone=zone)
    assert Cell.objects.get(account__cause="unaccounted").balance == 0
    assert sum(Cell.objects.filter(inside=True).values_list("balance", flat=True)) == 5


def test_a_loan_comes_back_from_the_place_that_is_stated(ledger_now: datetime, zone: tzinfo) -> None:
    lot, tank = make_lot(), make_place("E01")
    for code in ("L1", "L2"):
        make_place(code, kind=PlaceKind.OFF_SITE)
    make_event("received", lot=lot, place=tank, unknown=5)
    for code, n in (("L1", 3), ("L2", 2)):
        make_event("loan_out", lot=lot, place=tank, to_place=code, unknown=n, happened="2026-09-02")
    back: dict[str, Any] = {"lot": lot, "unknown": 2, "happened": "2026-09-03"}
    problem = refused(make_draft("back_from_loan", place=tank, **back), ledger_now, zone)
    assert (problem.column, "L1, L2" in problem.message) == ("place", True)
    make_event("back_from_loan", place="L1", to_place=tank, **back)
    assert balances() == {"received unknown": -5, "E01 unknown": 2, "L1 unknown": 1, "L2 unknown": 2}


@pytest.mark.parametrize("to_place", ["", "L1"])
def test_what_goes_from_one_borrower_to_another_has_not_come_back(
    to_place: str, ledger_now: datetime, zone: tzinfo
) -> None:
    lot, tank = make_lot(), make_place("E01")
    for code in ("L1", "L2"):
        make_place(code, kind=PlaceKind.OFF_SITE)
    make_event("received", lot=lot, place=tank, unknown=3)
    make_event("loan_out", lot=lot, place=tank, to_place="L1", unknown=3, happened="2026-09-02")
    draft = make_draft("back_from_loan", lot=lot, place="L2", to_place=to_place, happened="2026-09-03")
    assert refused(draft, ledger_now, zone).column == "to_place"


@pytest.mark.parametrize(
    ("stated", "column"),
    [
        ({"cause": "x" * 121}, "cause"),
        ({"evidence": "x" * 301}, "evidence"),
        ({"stage": "x" * 21}, "stage"),
        ({"unknown": 1_000_000_000}, "numbers"),
    ],
)
def test_more_than_a_column_holds_is_refused_on_every_database(
    stated: dict[str, Any], column: str, ledger_now: datetime, zone: tzinfo
) -> None:
    draft = make_draft("received", lot=make_lot(), place=make_place(), **stated)
    assert refused(draft, ledger_now, zone).column == column


def test_a_day_that_begins_before_an_individual_came_asks_for_the_time(
    ledger_now: datetime, zone: tzinfo
) -> None:
    conger, tank = make_lot(kind=LotKind.INDIVIDUAL), make_place()
    make_event("received", lot=conger, place=tank, happened="2026-09-01T10:00")
    move: dict[str, Any] = {"lot": conger, "place": tank, "to_place": make_place()}
    problem = refused(make_draft("moved", happened="2026-09-01", **move), ledger_now, zone)
    assert "it arrived on 2026-09-01 10:00; if this was later that day, give the time" in problem.message
    make_event("moved", happened="2026-09-01T10:30", **move)
