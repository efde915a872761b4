"""A report that is remembered is the report that would be made now."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest
from django.db import connection, connections, transaction
from django.db.models import F
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import get_current_timezone

from census.change.queries.remembered import remembered_report
from census.change.queries.report import Report, change_report
from census.change.rules.question import By
from inventory.book.models import Revision
from inventory.book.queries import revision
from inventory.book.queries.revision import book_state, unchanged_before
from inventory.names.models import Taxon
from tests.factories import make_event, make_lot, make_period, make_place

from .sample import THIRD_QUARTER, Sample, make_sample


def _asked() -> tuple[list[tuple[str, int]], int]:
    """The rows, and how many queries they took."""
    with CaptureQueriesContext(connection) as queries:
        report = remembered_report(THIRD_QUARTER, zone=get_current_timezone())
    return [(row.name, row.change.closing) for row in report.rows], len(queries)


def _made() -> list[tuple[str, int]]:
    report = change_report(THIRD_QUARTER, zone=get_current_timezone())
    return [(row.name, row.change.closing) for row in report.rows]


def _an_event(sample: Sample) -> None:
    make_event("found", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-09-20")


def _a_name(sample: Sample) -> None:
    Taxon.objects.filter(pk=sample.taxa["goby"].pk).update(scientific_name="Gobius novus")


def _a_unit(sample: Sample) -> None:
    sample.taxa["goby"].lots.update(unit="colony")


def _a_closing(sample: Sample) -> None:
    sample.close(make_period(), "2026-10-03")


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("happens", [_an_event, _a_name, _a_unit, _a_closing])
def test_what_changes_a_report_is_noticed(happens: Callable[[Sample], None]) -> None:
    sample = make_sample()
    assert _asked()[0] == _made()
    happens(sample)
    rows, queries = _asked()
    assert rows == _made()
    assert queries > 5


@pytest.mark.django_db(transaction=True)
def test_the_same_question_of_the_same_book_reads_it_once() -> None:
    make_sample()
    first, many = _asked()
    again, one = _asked()
    assert (first, one) == (again, 1)
    assert many > 5


@pytest.mark.django_db(transaction=True)
def test_what_is_dated_after_the_period_leaves_its_report_as_it_was() -> None:
    sample = make_sample()
    first, _ = _asked()
    make_event("found", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-10-01")
    # The state of the book, and what has come since.
    assert _asked() == (first, 2)
    assert _asked() == (first, 1)
    assert first == _made()
    late = make_event("found", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-09-30")
    assert _asked()[0] == _made() != first
    make_event("reversed", reverses=late, happened="2026-10-02")
    assert _asked()[0] == _made()


@pytest.mark.django_db(transaction=True)
def test_a_source_is_told_by_the_whole_life_of_a_lot_and_read_again() -> None:
    sample = make_sample()
    question = replace(THIRD_QUARTER, by=By.SOURCE)
    zone = get_current_timezone()
    remembered_report(question, zone=zone)
    make_event("found", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-10-01")
    assert [row.label for row in remembered_report(question, zone=zone).rows] == [
        row.label for row in change_report(question, zone=zone).rows
    ]


@pytest.mark.django_db(transaction=True)
def test_by_source_what_changes_no_source_leaves_the_report_as_it_was() -> None:
    """A later death or move; an arrival, animals of another lot and what takes them back are read."""
    sample = make_sample()
    goby, tank = sample.lots["goby"], sample.places["E1"]
    question, zone = replace(THIRD_QUARTER, by=By.SOURCE), get_current_timezone()

    def asked() -> Report:
        return remembered_report(question, zone=zone)

    def rows(report: Report) -> list[tuple[str, int]]:
        return [(row.label, row.change.closing) for row in report.rows]

    first = asked()
    make_event("died", lot=goby, place=tank, happened="2026-10-01")
    make_event("moved", lot=goby, place=tank, to_place=make_place("E99"), happened="2026-10-01")
    assert asked() is first
    assert rows(first) == rows(change_report(question, zone=zone))
    came = make_event("received", party="Far Sea Centre", lot=goby, place=tank, happened="2026-10-02")
    told = asked()
    assert rows(told) == rows(change_report(question, zone=zone)) != rows(first)
    make_event("reversed", reverses=came, happened="2026-10-03")
    assert asked() is not told
    assert rows(asked()) == rows(change_report(question, zone=zone)) == rows(first)
    taken = make_lot(taxon=goby.taxon)
    make_event("taken", permit_number="P7", lot=taken, place=tank, happened="2026-10-03")
    told = asked()
    make_event("regrouped", lot=taken, to_lot=goby, place=tank, happened="2026-10-04")
    assert asked() is not told
    assert rows(asked()) == rows(change_report(question, zone=zone)) != rows(told)


@pytest.mark.django_db(transaction=True)
def test_a_book_that_is_not_the_same_chain_is_read_again() -> None:
    sample = make_sample()
    then = book_state()
    make_event("found", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-10-01")
    now, before = book_state(), datetime(2026, 10, 1, tzinfo=get_current_timezone())
    assert unchanged_before(then, now, before=before)
    assert not unchanged_before(now, then, before=before)
    assert not unchanged_before(then._replace(head="another"), now, before=before)
    assert not unchanged_before(then._replace(database="another"), now, before=before)


@pytest.mark.django_db(transaction=True)
def test_of_a_backup_that_was_restored_nothing_is_remembered_from_before(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its numbers come again: a name changed before the restore, and another after it, are both the first."""
    sample = make_sample()
    _a_name(sample)
    before, _ = _asked()
    # As a restore does it: another file under the same name, as far along as ours was.
    if connection.vendor == "sqlite":
        monkeypatch.setitem(connections["default"].__dict__, "_tidetally_file", (0, 1))
    else:
        monkeypatch.setitem(revision._DATABASE, "postgresql", "1")
    with transaction.atomic():
        Taxon.objects.filter(pk=sample.taxa["goby"].pk).update(scientific_name="Gobius alius")
        Revision.objects.update(n=F("n") - 1)
    assert _asked()[0] == _made() != before


@pytest.mark.django_db(transaction=True)
def test_what_is_taken_back_is_not_remembered() -> None:
    sample = make_sample()
    before = _asked()[0]
    with transaction.atomic():
        _a_name(sample)
        assert _asked()[0] != before
        transaction.set_rollback(True)
    _a_unit(sample)
    assert _asked()[0] == _made()


@pytest.mark.django_db
def test_events_alone_do_not_count_as_a_revision() -> None:
    """Every event moves a cached number of its lot; only what the ledger does not hold is counted here."""
    n = Revision.objects.get().n
    make_event("found")
    assert Revision.objects.get().n == n
