"""The statement of changed figures names the returns that the late entries touch."""

import re
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from census.change.rules.question import Question
from census.reports.rules.document import Figure
from inventory.book.actions.close import close_period
from inventory.book.models import Event, Lot, Period, PeriodVersion
from inventory.permits.actions.returns import freeze_return
from inventory.permits.files.returns import write_return
from inventory.permits.models import PermitReturn
from inventory.permits.queries.returns import Asked
from inventory.permits.queries.returns_touched import returns_touched
from tests.factories import make_event, make_lot, make_period, make_place
from tests.permits.house import NUMBER, PermitHouse, a_take, make_permit_house

from .conftest import answered

pytestmark = pytest.mark.django_db

DAYS = Question(date(2026, 7, 1), date(2026, 9, 30))
ASKED = Asked(date(2026, 1, 1), date(2026, 9, 30), date(2026, 10, 6))


@pytest.fixture
def house(db: None) -> PermitHouse:
    """Four gobies taken in, the quarter closed; a lot of no permit stands beside them."""
    house = make_permit_house()
    house.record(a_take("two-spotted goby", 4))
    make_event("received", lot=make_lot("OTHER"), place=make_place("E03"), unknown=9, happened="2026-08-01")
    close(house, make_period(), 0)
    return house


def close(house: PermitHouse, period: Period, days: int) -> PeriodVersion:
    at = house.now + timedelta(days=days)
    return close_period(period, closed_at=at, signed_by=house.officer, zone=house.zone)


def freeze(house: PermitHouse, days: int, *, amends: PermitReturn | None = None) -> PermitReturn:
    asked = Asked(ASKED.starts_on, ASKED.ends_on, ASKED.as_of, amends=amends)
    return freeze_return(
        permit=house.permit,
        asked=asked,
        write=write_return,
        by=house.officer,
        now=house.now + timedelta(days=days),
        zone=house.zone,
        explained="as told by telephone",
    )


def late(house: PermitHouse, lot: str, *, kind: str = "died", days: int = 2, **stated: Any) -> Event:
    """An event of September that is entered so many days after the closing."""
    place = "E03" if lot == "OTHER" else "Q2"
    moment = house.now + timedelta(days=days)
    return make_event(kind, lot=lot, place=place, happened="2026-09-10", now=moment, **stated)


def goby(house: PermitHouse) -> str:
    lot = Event.objects.get(kind="taken").flows.get().to_cell.lot
    assert lot is not None
    return lot.accession


def told() -> dict[str, set[tuple[str, ...]]]:
    """The returns of each taxon's changed figures, in words."""
    found: dict[str, set[tuple[str, ...]]] = {}
    for block in answered("changed", DAYS).part("changed").blocks:
        for table in block.tables:
            for line in table.lines:
                assert line.name is not None
                named = tuple(piece.words + piece.after for piece in line.figures["returns"].pieces)
                found.setdefault(line.name.accepted, set()).add(named)
    return found


def test_a_late_death_of_what_was_taken_names_the_return_and_another_animal_names_none(
    house: PermitHouse, client: Client
) -> None:
    one = freeze(house, 1)
    died = late(house, goby(house))
    late(house, "OTHER")
    close(house, Period.objects.get(), 3)
    words = f"{NUMBER}, return 1, version 1"
    other = Lot.objects.get(accession="OTHER").taxon.scientific_name
    assert told() == {"Pomatoschistus flavescens": {(words,)}, other: {()}}
    assert house.officer.user is not None
    client.force_login(house.officer.user)
    page = client.get("/reports/changed", {"first_day": "2026-07-01", "last_day": "2026-09-30"})
    text = page.content.decode()
    assert re.search(rf'<a href="/return/{one.pk}">{words}</a>', text)
    assert f'<a href="/event/{died.pk}">event {died.pk}</a>, died' in text
    assert client.get(f"/return/{one.pk}").status_code == 200
    line = answered("changed", DAYS).part("changed").blocks[0].tables[0].lines[0]
    assert line.figures["returns"].value in (words, "none")


def test_what_the_return_knew_touches_it_not(house: PermitHouse) -> None:
    died = late(house, goby(house), days=1)
    freeze(house, 2)
    assert returns_touched([died.pk], zone=house.zone) == {}


def test_of_two_versions_the_newest_that_did_not_know_is_named_with_what_followed(house: PermitHouse) -> None:
    one = freeze(house, 1)
    first = late(house, goby(house), days=2)
    freeze(house, 3, amends=one)
    second = late(house, goby(house), days=4)
    found = returns_touched([first.pk, second.pk], zone=house.zone)
    assert [each.words + each.since for each in found[first.pk]] == [
        f"{NUMBER}, return 1, version 1, amended by version 2"
    ]
    assert [each.words + each.since for each in found[second.pk]] == [f"{NUMBER}, return 1, version 2"]
    then = house.now + timedelta(days=2, hours=1)
    (known,) = returns_touched([first.pk], zone=house.zone, known_at=then)[first.pk]
    assert (known.version, known.since) == (1, "")


def test_a_move_and_what_came_after_the_day_of_the_fates_touch_no_return(house: PermitHouse) -> None:
    freeze(house, 1)
    moved = late(house, goby(house), kind="moved", to_place="E02")
    after = house.now + timedelta(days=5)
    gone = make_event("died", lot=goby(house), place="E02", happened="2026-10-08", now=after)
    assert returns_touched([moved.pk, gone.pk], zone=house.zone) == {}


def test_a_take_that_comes_late_touches_the_return_of_its_days(house: PermitHouse) -> None:
    freeze(house, 1)
    before = set(Event.objects.values_list("pk", flat=True))
    house.record(a_take("shore crab", 1), at=house.now + timedelta(days=2))
    (taken,) = set(Event.objects.values_list("pk", flat=True)) - before
    assert [each.version for each in returns_touched([taken], zone=house.zone)[taken]] == [1]


def test_the_statement_asks_as_often_for_many_late_entries(
    house: PermitHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    one = freeze(house, 1)
    late(house, goby(house))
    close(house, Period.objects.get(), 3)

    def count(most: int) -> int:
        with django_assert_num_queries(most):
            document = answered("changed", DAYS)
            figures: list[Figure] = [
                line.figures["returns"] for table in document.part("changed").tables() for line in table.lines
            ]
        return sum(bool(figure.pieces) for figure in figures)

    assert count(14) > 0
    freeze(house, 4, amends=one)
    for _ in range(3):
        late(house, goby(house), days=5)
        late(house, "OTHER", days=5)
    close(house, Period.objects.get(), 6)
    assert count(14) > 2
