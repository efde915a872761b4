"""How numbers went, against the population change of the same days."""

from collections import Counter
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
from django.utils.timezone import get_current_timezone
from pytest_django import DjangoAssertNumQueries

from census.change.queries.report import change_report
from census.change.rules.columns import FLOW_COLUMNS
from census.change.rules.question import Basis, By
from census.population.queries.lives import read_histories
from census.population.queries.reading import Split, read_course
from census.population.queries.sexed import sexes_of
from census.population.queries.staged import read_stages
from census.population.rules.asked import Asked
from census.population.rules.course import added
from census.population.rules.spans import Span, months_between, quarter_of, quarters_between, quarters_until
from inventory.book.models import Flow
from inventory.book.rules.scope import Scope
from tests.change.sample import THIRD_QUARTER, Sample, make_sample
from tests.factories import make_house, make_lot

pytestmark = pytest.mark.django_db

ASKED = Asked(date(2026, 7, 1), date(2026, 9, 30), date(2026, 10, 6))
SPAN = Span(ASKED.first_day, ASKED.last_day, "")


@pytest.fixture
def sample() -> Sample:
    make_house()
    return make_sample()


@pytest.mark.parametrize("scope", list(Scope))
@pytest.mark.parametrize(("split", "by"), [(Split.TAXON, By.TAXON), (Split.PLACE, By.PLACE)])
@pytest.mark.parametrize("unit", ["animal", "colony"])
def test_every_figure_is_that_of_the_population_change(
    sample: Sample, scope: Scope, split: Split, by: By, unit: str
) -> None:
    zone = get_current_timezone()
    asked = replace(ASKED, scope=scope, unit=unit)
    course = read_course(asked, split, zone=zone)
    report = change_report(replace(THIRD_QUARTER, by=by, scope=scope, basis=Basis.KNOWN), zone=zone)
    told: dict[int, Counter[str]] = {}
    for row in report.rows:
        if row.unit != unit:
            continue
        key = row.taxon.pk if by is By.TAXON else int(row.key.group)
        numbers = told.setdefault(key, Counter())
        numbers.update({column: row.change.flows[column] for column in FLOW_COLUMNS})
        numbers.update({"opening": row.change.opening, "closing": row.change.closing})
    for key, numbers in told.items():
        row_course = added(
            one for k, one in course.rows.items() if key == (k.taxon_id if by is By.TAXON else k.place_id)
        )
        flows = row_course.flows(SPAN)
        assert row_course.opened(SPAN) == numbers["opening"]
        assert row_course.closed(SPAN) == numbers["closing"]
        for column in FLOW_COLUMNS:
            expected = numbers[column]
            if column == "died_within_30_days":
                continue
            if column == "died":
                expected += numbers["died_within_30_days"]
            assert flows[column] == expected, (key, column)


def test_animal_days_are_what_a_walk_over_the_days_adds_up(sample: Sample) -> None:
    course = read_course(ASKED, Split.BOTH, zone=get_current_timezone())
    for row in course.rows.values():
        days = range(ASKED.first_day.toordinal(), ASKED.last_day.toordinal() + 1)
        walked = sum(max(row.before(day + 1), 0) for day in days)
        assert row.animal_days(SPAN) == walked


def test_deaths_by_day_are_those_of_a_plain_loop_over_the_flows(sample: Sample) -> None:
    zone = get_current_timezone()
    looped: Counter[date] = Counter()
    for flow in Flow.objects.select_related("from_cell__account", "to_cell__account", "from_cell__lot"):
        day = flow.effective_at.astimezone(zone).date()
        if ASKED.first_day <= day <= ASKED.last_day and flow.from_cell.lot.unit == "animal":
            looped[day] += flow.n * (flow.to_cell.account.cause == "died")
            looped[day] -= flow.n * (flow.from_cell.account.cause == "died")
    course = read_course(ASKED, Split.BOTH, zone=zone)
    read: Counter[date] = Counter()
    for row in course.rows.values():
        for at, columns in row.days.items():
            read[date.fromordinal(at)] += columns["died"]
    assert +read == +looped
    assert sum(read.values()) == 5


def test_moves_are_told_by_both_places_and_what_was_taken_back_is_none(sample: Sample) -> None:
    course = read_course(ASKED, Split.PLACE, zone=get_current_timezone())
    e1, e2 = sample.places["E1"].pk, sample.places["E2"].pk
    assert course.moves() == {(e1, e2): 6}


def test_a_place_asked_for_shows_its_own_moves(sample: Sample) -> None:
    asked = replace(ASKED, place=sample.places["E2"].pk)
    row = added(read_course(asked, Split.TAXON, zone=get_current_timezone()).rows.values())
    assert row.flows(SPAN)["moved_in"] == 6


def test_what_was_known_later_is_left_out(sample: Sample) -> None:
    zone = get_current_timezone()
    early = replace(ASKED, known_at=datetime(2026, 10, 1, 12, 0, tzinfo=zone))
    goby = sample.taxa["goby"].pk
    now = added(
        one for k, one in read_course(ASKED, Split.TAXON, zone=zone).rows.items() if k.taxon_id == goby
    )
    then = added(
        one for k, one in read_course(early, Split.TAXON, zone=zone).rows.items() if k.taxon_id == goby
    )
    assert then.opening - now.opening == 2


@pytest.mark.parametrize("lots", [0, 12])
def test_the_number_of_queries_does_not_grow_with_the_lots(
    sample: Sample, lots: int, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    for n in range(lots):
        lot = make_lot(f"MORE{n}", taxon=sample.taxa["goby"])
        sample.book.crossing("received", "2026-08-01", lot, sample.places["E1"], 3)
        sample.book.crossing("died", "2026-08-09", lot, sample.places["E1"], 1)
    zone = get_current_timezone()
    with django_assert_num_queries(7):
        read_course(ASKED, Split.BOTH, zone=zone)
    with django_assert_num_queries(7):
        read_histories(ASKED, zone=zone)
    with django_assert_num_queries(4):
        sexes_of(ASKED, zone=zone)
    with django_assert_num_queries(8):
        read_stages(ASKED, zone=zone)


def test_sexes_are_those_of_the_end(sample: Sample) -> None:
    found = sexes_of(ASKED, zone=get_current_timezone())
    assert found[sample.taxa["wrasse"].pk] == Counter(female=3, male=3)


def test_least_and_most_deaths_after_arrival_bound_what_is_known(sample: Sample) -> None:
    zone = get_current_timezone()
    asked = replace(ASKED, first_day=date(2026, 6, 1))
    young = next(c for c in read_histories(asked, zone=zone).cohorts if c.lot == sample.lots["young"].pk)
    # 14 came alone into their lot; 3 died on the 18th day, 1 long after.
    assert (young.arrived, young.young.least, young.young.most, young.whole) == (14, 3, 3, True)


def test_quarters_and_months_cover_every_day_once() -> None:
    first, last = date(2025, 11, 20), date(2026, 8, 2)
    for spans in (quarters_between(first, last), months_between(first, last)):
        days = [one.first + timedelta(days=n) for one in spans for n in range(one.days)]
        assert days == [first + timedelta(days=n) for n in range((last - first).days + 1)]
    assert quarter_of(date(2026, 12, 31)) == Span(date(2026, 10, 1), date(2026, 12, 31), "2026 Q4")
    assert [one.name for one in quarters_until(date(2026, 2, 3), 3)] == ["2025 Q3", "2025 Q4", "2026 Q1"]
    assert quarters_between(first, last)[0].name == "2025 Q4 (part)"
