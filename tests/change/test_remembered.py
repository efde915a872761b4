"""A report that is remembered is the report that would be made now."""

from collections.abc import Callable

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import get_current_timezone

from census.change.queries.remembered import remembered_report
from census.change.queries.report import change_report
from inventory.book.models import Revision
from inventory.names.models import Taxon
from tests.factories import make_event, make_period

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
