"""The reports of several periods out of one reading are those of each by itself."""

from dataclasses import replace
from datetime import date, datetime

import pytest
from django.db import connection
from django.db.models import F
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import get_current_timezone
from pytest_django import DjangoAssertNumQueries

from census.change.queries.report import Report, change_report, change_reports_of_periods
from census.change.rules.question import Basis, By, Question
from census.reports.rules.quarters import quarters_between
from inventory.book.models import Cell, PeriodBalance
from inventory.book.rules.scope import Scope
from tests.factories import make_event, make_lot, make_period

from .sample import THIRD_QUARTER, Sample, make_sample

pytestmark = pytest.mark.django_db


@pytest.fixture
def sample(db: None) -> Sample:
    """The second and the third quarter of 2026 are closed; something of each came in after it."""
    sample = make_sample()
    sample.close(make_period(), "2026-10-15")
    goby, tank = sample.lots["goby"], sample.places["E1"]
    for happened in ("2026-02-03", "2026-05-01", "2026-09-29", "2026-10-03"):
        now = datetime(2026, 11, 2, tzinfo=get_current_timezone())
        make_event("found", lot=goby, place=tank, happened=happened, now=now)
    return sample


def _asked(question: Question) -> list[Question]:
    """Seven quarters and two years; the years end where quarters end."""
    days = [(one.first_day, one.last_day) for one in quarters_between(date(2025, 4, 1), date(2026, 12, 31))]
    days += [(date(year, 1, 1), date(year, 12, 31)) for year in (2025, 2026)]
    return [replace(question, first_day=first, last_day=last) for first, last in days]


def _told(report: Report) -> list[object]:
    rows = [(row.key, row.change, row.young_most, row.ties) for row in report.rows]
    ends = (report.opening, report.closing, report.opening_scopes, report.closing_scopes)
    return [report.question, rows, report.totals, ends, report.named_untied]


@pytest.mark.parametrize("by", [By.TAXON, By.PLACE, By.LOT])
@pytest.mark.parametrize("scope", [Scope.HERE, Scope.OURS])
@pytest.mark.parametrize(
    ("basis", "known_at"), [(Basis.REPORTED, None), (Basis.KNOWN, None), (Basis.KNOWN, "2026-10-10T12:00")]
)
def test_several_periods_at_once_are_what_each_is_by_itself(
    sample: Sample, by: By, scope: Scope, basis: Basis, known_at: str | None
) -> None:
    zone = get_current_timezone()
    moment = datetime.fromisoformat(known_at).replace(tzinfo=zone) if known_at else None
    question = replace(THIRD_QUARTER, by=by, scope=scope, basis=basis, known_at=moment)
    questions = _asked(question)
    together = [_told(report) for report in change_reports_of_periods(questions, zone=zone)]
    assert together == [_told(change_report(one, zone=zone)) for one in questions]
    assert any(rows for _, rows, *_ in together)
    assert change_reports_of_periods(questions[::-1], zone=zone)[0].totals == together[-1][2]


@pytest.mark.parametrize("scope", [Scope.HERE, Scope.OURS])
@pytest.mark.parametrize("quarters", [slice(6), slice(4), slice(2, 6), slice(5, 6)])
@pytest.mark.parametrize(
    ("basis", "known_at"), [(Basis.REPORTED, None), (Basis.KNOWN, None), (Basis.KNOWN, "2026-10-10T12:00")]
)
def test_periods_that_end_with_a_closing_are_what_each_is_by_itself(
    sample: Sample, scope: Scope, quarters: slice, basis: Basis, known_at: str | None
) -> None:
    """Then the first ones come out of the cached balances, taken back. A closing was issued a second time."""
    sample.close(sample.second.period, "2026-11-03")
    zone = get_current_timezone()
    moment = datetime.fromisoformat(known_at).replace(tzinfo=zone) if known_at else None
    questions = _asked(replace(THIRD_QUARTER, scope=scope, basis=basis, known_at=moment))[quarters]
    assert questions[-1].last_day <= THIRD_QUARTER.last_day
    together = [_told(report) for report in change_reports_of_periods(questions, zone=zone)]
    assert together == [_told(change_report(one, zone=zone)) for one in questions]


@pytest.mark.parametrize("quarters", [6, 7])
def test_more_lots_and_flows_cost_no_more_queries(sample: Sample, quarters: int) -> None:
    zone = get_current_timezone()
    questions = _asked(THIRD_QUARTER)[:quarters]
    with CaptureQueriesContext(connection) as few:
        change_reports_of_periods(questions, zone=zone)
    now = datetime(2026, 11, 5, tzinfo=zone)
    for day in ("2025-05-03", "2026-02-04", "2026-08-05"):
        make_event("received", lot=make_lot(), place=sample.places["E1"], happened=day, now=now)
    with CaptureQueriesContext(connection) as many:
        change_reports_of_periods(questions, zone=zone)
    assert len(many) == len(few)


def test_a_wrong_cached_balance_does_not_tie_at_the_first_closing_where_the_last_quarter_is_closed(
    sample: Sample,
) -> None:
    Cell.objects.filter(lot=sample.lots["wrasse"], sex="male", inside=True).update(balance=F("balance") + 1)
    assert _untied(6) == ["2026-06-30"]


def test_a_wrong_closing_does_not_tie_on_either_side_of_it_where_the_last_quarter_is_closed(
    sample: Sample,
) -> None:
    assert _untied(6) == []
    never_there = sample.book.cell(sample.lots["goby"], sample.places["E1"], "male")
    PeriodBalance.objects.create(version=sample.second, cell=never_there, n=1)
    assert _untied(6) == ["2026-06-30", "2026-09-30"]


def _untied(quarters: int = 7) -> list[str]:
    """The last days of quarters in which something does not tie."""
    reports = change_reports_of_periods(_asked(THIRD_QUARTER)[:quarters], zone=get_current_timezone())
    return [str(report.question.last_day) for report in reports if report.untied]


def test_a_wrong_closing_does_not_tie_on_either_side_of_it(sample: Sample) -> None:
    assert _untied() == []
    never_there = sample.book.cell(sample.lots["goby"], sample.places["E1"], "male")
    PeriodBalance.objects.create(version=sample.second, cell=never_there, n=1)
    assert _untied() == ["2026-06-30", "2026-09-30"]


def test_a_wrong_cached_balance_does_not_tie_at_the_first_closing_nor_at_the_end(sample: Sample) -> None:
    """What lies before the first closing is the cached balances, taken back past it."""
    Cell.objects.filter(lot=sample.lots["wrasse"], sex="male", inside=True).update(balance=F("balance") + 1)
    assert _untied() == ["2026-06-30", "2026-12-31"]


def test_a_wrong_cached_balance_does_not_tie_at_the_end_of_periods_none_of_which_was_closed(
    sample: Sample,
) -> None:
    """Then the first boundary is the sum of all flows: all would tie if the cache told both ends."""
    Cell.objects.filter(lot=sample.lots["wrasse"], sex="male", inside=True).update(balance=F("balance") + 1)
    assert _untied(4) == ["2026-03-31"]


def test_no_periods_ask_nothing(django_assert_num_queries: DjangoAssertNumQueries) -> None:
    with django_assert_num_queries(0):
        assert change_reports_of_periods([], zone=get_current_timezone()) == []
