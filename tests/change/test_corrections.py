"""What was taken back fills no column: neither the one it was booked in nor the opposite one."""

from collections.abc import Iterator
from datetime import date, tzinfo

import pytest

from census.change.queries.behind import Selection, behind
from census.change.queries.report import change_report
from census.change.rules.question import By, Question
from inventory.book.rules.scope import Scope
from tests.factories import make_event, make_lot, make_place, make_reversal

pytestmark = pytest.mark.django_db


def asked(by: By, scope: Scope = Scope.HERE) -> Question:
    return Question(date(2026, 9, 1), date(2026, 9, 30), by=by, scope=scope)


def figures(question: Question, zone: tzinfo) -> Iterator[tuple[str, dict[str, int]]]:
    for row in change_report(question, zone=zone).rows:
        yield row.label, {column: n for column, n in row.change.flows.items() if n}


def test_a_mistaken_loan_that_was_taken_back_is_no_loan_and_no_return(zone: tzinfo) -> None:
    lot, tank = make_lot(), make_place("T1")
    make_event("received", lot=lot, place=tank, unknown=5, happened="2026-09-01")
    make_reversal(make_event("loan_out", lot=lot, place=tank, unknown=2, happened="2026-09-05"))
    assert list(figures(asked(By.TAXON), zone)) == [("", {"received": 5})]


def test_a_mistaken_move_that_was_taken_back_leaves_no_trace_in_the_columns(zone: tzinfo) -> None:
    lot, tank, other = make_lot(), make_place("T1"), make_place("T2")
    make_event("received", lot=lot, place=tank, unknown=5, happened="2026-09-01")
    make_reversal(make_event("moved", lot=lot, place=tank, to_place=other, unknown=2, happened="2026-09-05"))
    assert list(figures(asked(By.PLACE), zone)) == [("T1", {"received": 5})]


def test_the_events_behind_a_figure_hold_what_was_taken_back_and_still_sum_to_it(zone: tzinfo) -> None:
    lot, tank, other = make_lot(), make_place("T1"), make_place("T2")
    make_event("received", lot=lot, place=tank, unknown=5, happened="2026-09-01")
    right = make_event("moved", lot=lot, place=tank, to_place=other, unknown=2, happened="2026-09-05")
    wrong = make_event("moved", lot=lot, place=tank, to_place=other, unknown=1, happened="2026-09-05")
    back = make_reversal(wrong)
    found = behind(asked(By.PLACE), "moved_out", Selection("animal", lot.taxon_id, tank.pk), zone=zone)
    assert [(one.flow.event_id, one.n) for one in found.counted] == [
        (right.pk, 2),
        (wrong.pk, 1),
        (back.pk, -1),
    ]
    assert found.figure == 2
