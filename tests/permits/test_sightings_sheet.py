"""Sightings by a sheet of the workbook, and what they make of a return that was sent."""

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from inventory.book.models import Cell, Lot
from inventory.book.rules.happened import parse_happened
from inventory.permits.actions.sightings import SightingRefused, record_sighting, withdraw_sighting
from inventory.permits.models import PermitReturn, Sighting
from inventory.permits.queries.return_changes import changed_since

from ..factories import NOW, make_event, make_person
from .house import NUMBER, PermitHouse, a_take
from .test_command import _load
from .test_returns import amend, freeze
from .test_sightings import ZONE, Pool
from .test_whereabouts import make_permit

pytestmark = pytest.mark.usefixtures("frozen_clock")
ROW = {"accession": "POOL", "place": "E1", "happened": "2026-03-01", "permit": "P1", "mark": "tag 7"}


@pytest.fixture
def pool(house: PermitHouse) -> Pool:
    """Three of P1 and three of P2, of which three have died."""
    made = Pool()
    made.event("died", 3, "2026-02-01")
    make_person("Ines Marlow")
    return made


def test_a_sheet_narrows_the_pool_as_the_page_does_and_a_second_load_changes_nothing(
    pool: Pool, house: PermitHouse, tmp_path: Path
) -> None:
    rows: list[dict[str, Any]] = [
        ROW | {"number": 2, "entered_by": "Jan"},
        ROW | {"mark": "scar", "permit": "P2", "happened": "2026-03-02T10:15"},
    ]
    for new, here in ((2, 0), (0, 2)):
        report = _load(tmp_path / "house", house, sightings=rows)
        assert [str(problem) for problem in report.problems] == []
        tally = report.sheets["sightings"]
        assert (tally.new, tally.already_there) == (new, here)
    assert pool.held() == {"P1": (2, 2), "P2": (1, 1)}
    told = Sighting.objects.order_by("id").values_list(
        "mark", "n", "happened", "entered_by__name", "entered_at"
    )
    assert list(told) == [
        ("tag 7", 2, "2026-03-01", "Jan", NOW),
        ("scar", 1, "2026-03-02T10:15", "Ines Marlow", NOW),
    ]


def test_a_long_sheet_asks_the_database_no_more_often_than_a_short_one(
    pool: Pool, house: PermitHouse, tmp_path: Path, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    def rows(first: int, n: int) -> list[dict[str, Any]]:
        return [ROW | {"mark": f"tag {number}", "entered_by": "Jan"} for number in range(first, first + n)]

    _load(tmp_path / "house", house, sightings=rows(0, 1))
    with CaptureQueriesContext(connection) as short:
        _load(tmp_path / "house", house, sightings=rows(1, 2))
    with django_assert_num_queries(len(short)):
        report = _load(tmp_path / "house", house, sightings=[*rows(3, 40), *rows(3, 1)])
    assert (report.sheets["sightings"].new, report.sheets["sightings"].already_there) == (40, 1)
    assert Sighting.objects.count() == 43


def test_what_was_withdrawn_is_not_brought_back_by_the_same_sheet(
    pool: Pool, house: PermitHouse, tmp_path: Path
) -> None:
    _load(tmp_path / "house", house, sightings=[ROW])
    withdraw_sighting(sighting=Sighting.objects.get(), why="it was tag 1", by=pool.person, now=NOW)
    assert _load(tmp_path / "house", house, sightings=[ROW]).sheets["sightings"].already_there == 1
    assert Sighting.objects.count() == 1
    assert pool.held()["P1"] == (0, 3)


@pytest.mark.parametrize(
    ("wrong", "column", "words"),
    [
        ({"accession": "NONE"}, "accession", "there is no lot 'NONE'"),
        ({"place": "Q1"}, "place", "the book never had animals of POOL in a place 'Q1'"),
        ({"sex": "male"}, "place", "never had animals of POOL of this sex and stage"),
        ({"permit": "P7"}, "permit", "there is no permit 'P7'"),
        ({"permit": NUMBER}, "permit", f"no animal of {NUMBER} can be in this lot; there are P1, P2"),
        ({"happened": "2027-01-01"}, "happened", "2027-01-01 lies in the future"),
        ({"happened": "some day"}, "happened", "expected YYYY-MM-DD"),
        ({"number": "two"}, "number", "is not a whole number"),
        ({"number": "0"}, "number", "at least one animal was seen"),
        ({"line": "40000"}, "line", "a permit has lines from 1 to 32767 at most"),
        ({"mark": ""}, "mark", ""),
        ({"mark": "x" * 121}, "mark", "120"),
    ],
)
def test_a_row_that_cannot_be_is_told_with_sheet_row_and_column_and_nothing_is_loaded(
    pool: Pool, house: PermitHouse, tmp_path: Path, wrong: dict[str, str], column: str, words: str
) -> None:
    report = _load(tmp_path / "house", house, sightings=[ROW, ROW | {"mark": "tag 8"} | wrong])
    [problem] = report.problems
    assert (problem.origin, problem.column) == ("sheet sightings, row 3", column)
    assert words in problem.message
    assert not Sighting.objects.exists()


def test_where_two_sexes_are_it_is_asked_which(pool: Pool, house: PermitHouse, tmp_path: Path) -> None:
    make_event("taken", lot=pool.lot, place=pool.tank, males=1, happened="2026-01-02", permit_number="P1")
    [problem] = _load(tmp_path / "house", house, sightings=[ROW]).problems
    assert problem.column == "sex"
    assert problem.message == "say which it was: male; unknown"
    assert _load(tmp_path / "house", house, sightings=[ROW | {"sex": "male"}]).loaded
    assert Sighting.objects.get().cell.sex == "male"


def test_the_page_refuses_a_permit_that_is_not_in_the_pool_by_the_same_check(pool: Pool) -> None:
    with pytest.raises(SightingRefused, match="no animal of P3 can be in this lot"):
        pool.saw(make_permit("P3"), "2026-03-01", among=["P1", "P2"])


@pytest.fixture
def mixed(house: PermitHouse) -> Lot:
    """Four taken under the permit and three under P9 in one lot, of which three have died."""
    house.record(a_take("two-spotted goby", 4))
    lot = Lot.objects.get()
    make_permit("P9")
    stated: dict[str, Any] = {"lot": lot, "place": house.quarantine}
    make_event("taken", unknown=3, happened="2026-09-02", permit_number="P9", **stated)
    make_event("died", unknown=3, happened="2026-09-03", **stated)
    return lot


def see(house: PermitHouse, lot: Lot, n: int, *, after: timedelta) -> Sighting:
    return record_sighting(
        cell=Cell.objects.get(lot=lot, account__place=house.quarantine),
        permit=house.permit,
        mark="left fin clipped",
        happened=parse_happened("2026-09-20"),
        n=n,
        by=house.aquarist,
        now=house.now + after,
        zone=ZONE,
    )


def test_a_return_that_a_sighting_changed_names_it_as_the_cause(house: PermitHouse, mixed: Lot) -> None:
    one = freeze(house)
    see(house, mixed, 4, after=timedelta(days=1))
    [told] = changed_since(one, zone=house.zone).changes
    assert [cell.code for cell in told.change.cells] == ["disposition"]
    [cause] = told.causes
    assert (cause.words, cause.by, cause.at, cause.page, cause.about) == (
        f"seen 2026-09-20: left fin clipped, of {NUMBER}",
        house.aquarist.name,
        house.now + timedelta(days=1),
        "lot_sources",
        (mixed.accession,),
    )


def test_and_one_that_was_withdrawn_says_why(house: PermitHouse, mixed: Lot) -> None:
    one = freeze(house)
    seen = see(house, mixed, 4, after=timedelta(days=1))
    two = amend(house, one, now=house.now + timedelta(days=2))
    assert changed_since(two, zone=house.zone).changes == []
    withdraw_sighting(sighting=seen, why="another clip", by=house.officer, now=house.now + timedelta(days=3))
    [told] = changed_since(PermitReturn.objects.get(pk=two.pk), zone=house.zone).changes
    assert [(cause.words, cause.by) for cause in told.causes] == [
        (
            f"not seen 2026-09-20 after all: left fin clipped, of {NUMBER}: another clip",
            house.officer.name,
        )
    ]
    # The first version was amended before the withdrawal: its cause is what was known then.
    first = PermitReturn.objects.get(pk=one.pk)
    [told] = changed_since(first, zone=house.zone).changes
    assert [cause.words[:4] for cause in told.causes] == ["seen"]


def test_a_sighting_after_the_day_of_the_return_is_no_cause(house: PermitHouse, mixed: Lot) -> None:
    one = freeze(house)
    assert date(2026, 9, 20) < one.as_of
    assert changed_since(one, zone=house.zone).changes == []
