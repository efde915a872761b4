"""``verify`` believes nothing that the database keeps: rows changed behind the program's back are found."""

import io
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.book.models import LotKind
from inventory.book.queries.verification import verify
from inventory.db import triggers
from tests.factories import make_event, make_lot, make_place, make_reversal

pytestmark = pytest.mark.django_db


@contextmanager
def without_triggers() -> Iterator[None]:
    triggers.remove(connection, triggers.DECLARED)
    yield
    triggers.install(connection, triggers.DECLARED)


def change_behind_the_back(statement: str) -> None:
    with without_triggers(), connection.cursor() as cursor:
        cursor.execute(statement)


def found() -> set[str]:
    return {finding.check for finding in verify(timezone.get_current_timezone()).findings}


@pytest.fixture
def small_book() -> None:
    tank, other = make_place(), make_place()
    group, conger = make_lot(), make_lot(kind=LotKind.INDIVIDUAL)
    make_event("received", lot=group, place=tank, unknown=9)
    make_event("received", lot=conger, place=tank, males=1)
    make_event("moved", lot=conger, place=tank, to_place=other, happened="2026-09-02")
    death = make_event("died", lot=group, place=tank, unknown=2, happened="2026-09-03")
    make_reversal(death)
    make_event("missing", lot=group, place=tank, unknown=1, happened="2026-09-04")
    make_event("seen_again", lot=group, place=tank, unknown=1, happened="2026-09-05")
    make_event("regrouped", lot=group, place=tank, unknown=1, to_sex="female", happened="2026-09-06")
    make_event("loan_out", lot=group, place=tank, females=1, happened="2026-09-07")


@pytest.mark.usefixtures("small_book")
def test_an_honest_book_holds() -> None:
    verified = verify(timezone.get_current_timezone())
    assert verified.findings == []
    assert (verified.events, verified.flows) == (9, 9)


@pytest.mark.usefixtures("small_book")
@pytest.mark.parametrize(
    ("statement", "checks"),
    [
        ("UPDATE book_event SET note = 'nothing happened' WHERE id = 4", {"chain"}),
        ("UPDATE book_event SET entered_at = recorded_at, happened = '2026-09-01' WHERE id = 3", {"chain"}),
        ("UPDATE book_flow SET n = 3 WHERE event_id = 4", {"chain", "balance", "event"}),
        ("DELETE FROM book_flow WHERE event_id = 9", {"chain", "event", "balance"}),
        ("UPDATE book_cell SET balance = balance + 1 WHERE inside AND NOT capped", {"balance"}),
        ("UPDATE book_cell SET sex = 'hermaphrodite' WHERE sex = 'male'", {"chain"}),
        ("UPDATE book_lot SET held = 5 WHERE kind = 'group'", {"balance"}),
        ("UPDATE book_flow SET reversal = true WHERE event_id = 4", {"event"}),
        ("UPDATE book_flow SET from_cell_id = to_cell_id, to_cell_id = from_cell_id WHERE event_id = 3",
         {"chain", "balance", "individual"}),
    ],
)  # fmt: skip
def test_a_row_changed_behind_the_programs_back_is_found(statement: str, checks: set[str]) -> None:
    change_behind_the_back(statement)
    assert found() == checks


@pytest.mark.usefixtures("small_book")
def test_an_event_taken_out_of_the_chain_is_found() -> None:
    change_behind_the_back("DELETE FROM book_flow WHERE event_id = 6")
    change_behind_the_back("DELETE FROM book_event WHERE id = 6")
    verified = verify(timezone.get_current_timezone())
    assert "events 6 to 6 are missing" in {finding.problem for finding in verified.findings}


@pytest.mark.usefixtures("small_book")
def test_a_missing_trigger_is_found() -> None:
    triggers.remove(connection, ["book_flow_no_update"])
    try:
        assert found() == {"triggers"}
    finally:
        triggers.install(connection, ["book_flow_no_update"])


@pytest.mark.usefixtures("small_book")
def test_the_command_exits_1_with_a_list_when_something_fails() -> None:
    out = io.StringIO()
    call_command("verify", format="csv", stdout=out, stderr=io.StringIO())
    assert out.getvalue().splitlines() == ["check,where,problem"]
    change_behind_the_back("UPDATE book_event SET note = 'x' WHERE id = 1")
    out = io.StringIO()
    with pytest.raises(SystemExit) as exit_:
        call_command("verify", format="csv", stdout=out, stderr=io.StringIO())
    assert exit_.value.code == 1
    assert "chain,event 1," in out.getvalue()


@pytest.mark.usefixtures("small_book")
def test_verifying_takes_the_same_number_of_queries_whatever_the_number_of_events() -> None:
    before = _queries()
    for _ in range(10):
        make_event("received", unknown=2)
    assert _queries() == before


def _queries() -> int:
    with CaptureQueriesContext(connection) as captured:
        verify(timezone.get_current_timezone())
    return len(captured)
