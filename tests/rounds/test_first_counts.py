"""Accuracy of the first count is a fact of the day on which it was compared; nothing later changes it."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.decide import decide_line
from census.rounds.actions.sheets import hand_in
from census.rounds.models import Census
from census.rounds.queries.progress import accuracy_table
from census.rounds.queries.reading import read_census
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How
from inventory.book.rules.kinds import EventKind
from tests import factories

from .house import COUNTED, NOW, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db
LATER = at("2026-10-20T09:00")


def first(census: Census) -> dict[str, tuple[int, int]]:
    """Lines counted and inside at the first count, by class."""
    table = accuracy_table(read_census(census), DEFAULTS)
    return {one.count_class: (one.first.lines, one.first.inside) for one in table}


def latest(census: Census) -> dict[str, tuple[int, int]]:
    table = accuracy_table(read_census(census), DEFAULTS)
    return {one.count_class: (one.latest.lines, one.latest.inside) for one in table}


def test_a_late_death_makes_no_right_count_wrong_afterwards(house: TestHouse) -> None:
    census = house.compared({})
    assert first(census)["A"] == (1, 1)
    factories.make_event("died", lot=house.lots["conger"], place="K1", happened="2026-09-20", now=LATER)
    assert first(census)["A"] == (1, 1)
    assert latest(census)["A"] == (1, 0)


def test_a_slip_that_was_entered_elsewhere_earlier_changes_it_no_more(house: TestHouse) -> None:
    """A load may state when a slip was entered: before the comparison, of which it was no part."""
    census = house.compared({"goby": 6})
    factories.make_event(
        "died",
        lot=house.lots["goby"],
        place="K1",
        unknown=5,
        happened="2026-09-20",
        entered_at=at("2026-09-25T09:00"),
    )
    assert (first(census)["B"], latest(census)["B"]) == ((6, 5), (6, 6))


def test_a_line_that_was_settled_stays_wrong_at_its_first_count(house: TestHouse) -> None:
    census = house.compared({"goby": 6})
    assert first(census)["B"] == (6, 5)
    slip = Settling(
        how=How.LATE_EVENT, kind=EventKind.DIED, happened="2026-09-20", n=5, reason="late death entry"
    )
    decide_line(line=house.line(census, "goby"), settling=slip, by=house.registrar, now=NOW, zone=ZONE)
    assert (first(census)["B"], latest(census)["B"]) == ((6, 5), (6, 6))


def test_what_was_entered_before_the_comparison_belongs_to_it_and_a_second_one_changes_nothing(
    house: TestHouse,
) -> None:
    factories.make_event(
        "died",
        lot=house.lots["goby"],
        place="K1",
        unknown=5,
        happened="2026-09-20",
        now=at("2026-10-01T09:30"),
    )
    census = house.compared({"goby": 6})
    assert first(census)["B"] == (6, 6)
    factories.make_event("died", lot=house.lots["goby"], place="K1", happened="2026-09-21", now=NOW)
    compare_counts(census=census, by=house.registrar, now=LATER)
    assert first(census)["B"] == (6, 6)
    census.refresh_from_db()
    assert census.compared_at == at("2026-10-01T10:00")


def test_a_count_typed_after_the_comparison_is_compared_when_it_is_typed(house: TestHouse) -> None:
    census = house.opened_and_issued("K1", "K2")
    house.count(census, {"goby": 11})
    compare_counts(census=census, by=house.registrar, now=at("2026-09-29T12:00"))
    factories.make_event(
        "died", lot=house.lots["wrasse q"], place="K2", happened="2026-09-20", now=at("2026-09-29T13:00")
    )
    line = house.line(census, "wrasse q")

    def typed(value: int, now: str) -> None:
        entry = Entry(line=line.number, counted_at=COUNTED, counter=house.first, value=value)
        take_counts(sheet=line.sheet, entries=[entry], by=house.first, now=at(now))

    typed(5, "2026-09-30T09:00")
    assert first(census)["B"] == (2, 2)
    # A misreading that is mended is the same count: beside the book of its first typing.
    factories.make_event(
        "died", lot=house.lots["wrasse q"], place="K2", happened="2026-09-21", now=at("2026-09-30T10:00")
    )
    typed(4, "2026-09-30T11:00")
    assert first(census)["B"] == (2, 1)
    hand_in(sheet=line.sheet, by=house.first, now=at("2026-09-30T12:00"))


def test_a_joined_set_is_compared_on_its_sum_as_known_then(house: TestHouse) -> None:
    census = house.compared({"prawn a": 20, "prawn b": 22})
    assert first(census)["B"] == (6, 6)
    factories.make_event(
        "died", lot=house.lots["prawn a"], place="RA", unknown=20, happened="2026-09-20", now=NOW
    )
    assert (first(census)["B"], latest(census)["B"]) == ((6, 6), (6, 5))


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(deaths=st.lists(st.sampled_from(["goby", "bib", "cod", "shoal", "wrasse"]), max_size=4))
def test_no_late_entry_changes_the_first_counts(house: TestHouse, deaths: list[str]) -> None:
    census = Census.objects.first() or house.compared({"goby": 9, "shoal": 300})
    before = first(census)
    for name in deaths:
        factories.make_event("died", lot=house.lots[name], place="K1", happened="2026-09-20", now=LATER)
    assert first(census) == before


def test_first_counts_cost_one_query_however_many_lines(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    census = house.compared({"goby": 6})
    rows = read_census(census)
    with django_assert_num_queries(1):
        accuracy_table(rows, DEFAULTS)
    house.add_many_lines(census)
    rows = read_census(census)
    with django_assert_num_queries(1):
        accuracy_table(rows, DEFAULTS)
