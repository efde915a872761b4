"""My tanks in the morning: what concerns them, and nothing else; an empty day says so."""

import re
from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from census.rounds.actions.opening import open_census
from census.rounds.actions.sheets import issue
from census.rounds.models import Decision, Line
from census.rounds.rules.words import How
from inventory.book.actions.keeping import set_keepers
from inventory.book.models import Place
from inventory.people import attention
from inventory.people.attention import Attention, about_places
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.tankside.actions.quarantine import expect_end
from inventory.tankside.actions.readings import take_reading, want_range

from .. import factories

pytestmark = pytest.mark.django_db
NOW = factories.NOW
EMPTY = "Nothing waits at your tanks today"


@pytest.fixture
def registrar() -> Person:
    person = factories.make_person("Maren Tolvsund", roles=[Role.REGISTRAR])
    factories.make_house(registrar=person)
    return person


@pytest.fixture
def ade(registrar: Person) -> Person:
    return factories.make_person("Ade Quillanter", roles=[Role.AQUARIST])


@pytest.fixture
def mine(ade: Person) -> Place:
    """Rock Pools with a basin, kept by Ade."""
    place = factories.make_place("E03", name="Rock Pools")
    factories.make_place("E03a", name="Basin a", parent=place)
    set_keepers(place=place, keepers=[ade], since=date(2026, 1, 1))
    return place


@pytest.fixture
def theirs(registrar: Person) -> Place:
    place = factories.make_place("E04", name="Eelgrass Bay")
    set_keepers(place=place, keepers=[registrar], since=date(2026, 1, 1))
    return place


def signed_in(person: Person) -> Client:
    client = Client()
    assert person.user is not None
    client.force_login(person.user)
    return client


def my_tanks(person: Person) -> str:
    response = signed_in(person).get("/my-tanks")
    assert response.status_code == 200
    return str(response.text)


def out_of_range(place: Place, by: Person) -> None:
    want_range(
        place=place,
        quantity="temperature",
        unit="°C",
        low=Decimal(8),
        high=Decimal(11),
        since=date(2026, 1, 1),
        by=by,
        now=NOW,
    )
    take_reading(
        identifier=uuid4(),
        place=place.code,
        quantity="temperature",
        value="14.5",
        unit="°C",
        taken_at=NOW,
        by=by,
        now=NOW,
    )


def below_zero(place: Place, by: Person) -> str:
    lot = factories.make_lot()
    factories.make_event("received", lot=lot, place=place, unknown=1, entered_by=by)
    factories.make_event("died", lot=lot, place=place, unknown=5, happened="2026-09-30", entered_by=by)
    return lot.accession


def test_an_empty_day_says_so(ade: Person, mine: Place, frozen_clock: object) -> None:
    page = my_tanks(ade)
    assert EMPTY in page
    assert "Rock Pools" in page
    assert "Basin a" in page


def test_who_keeps_no_tank_is_told_who_says_so(ade: Person, theirs: Place, frozen_clock: object) -> None:
    page = my_tanks(ade)
    assert "You keep no tank today" in page
    assert "Eelgrass Bay" not in page


def test_the_first_page_leads_there_for_a_keeper_only(
    ade: Person, mine: Place, registrar: Person, frozen_clock: object
) -> None:
    assert 'href="/my-tanks"' in signed_in(ade).get("/").text
    assert 'href="/my-tanks"' not in signed_in(registrar).get("/").text


def test_only_my_tanks_and_what_is_below_them(
    ade: Person, mine: Place, theirs: Place, registrar: Person, frozen_clock: object
) -> None:
    basin = Place.objects.get(code="E03a")
    out_of_range(basin, ade)
    out_of_range(theirs, ade)
    lot, other = below_zero(mine, ade), below_zero(theirs, ade)
    page = my_tanks(ade)
    assert EMPTY not in page
    assert "E03a Temperature 14.5 °C: above 8 to 11 °C" in page
    assert lot in page
    assert not re.search(r"\bE04\b", page)
    assert other not in page


def test_more_than_ten_elsewhere_do_not_hide_mine(
    ade: Person, mine: Place, theirs: Place, frozen_clock: object
) -> None:
    """The first page shows ten; a keeper's line may be the eleventh."""
    for _ in range(12):
        lot = factories.make_lot()
        factories.make_event("received", lot=lot, place=theirs, unknown=1, entered_by=ade)
        factories.make_event("died", lot=lot, place=theirs, unknown=9, happened="2026-09-30", entered_by=ade)
    assert below_zero(mine, ade) in my_tanks(ade)


def test_a_count_that_is_due_stands_there_until_it_is_in(
    ade: Person, mine: Place, theirs: Place, registrar: Person, frozen_clock: object
) -> None:
    for place in (mine, theirs):
        factories.make_event("received", lot=factories.make_lot(), place=place, unknown=7, entered_by=ade)
    census = open_census(
        period=factories.make_period(),
        places=[mine, theirs],
        by=registrar,
        now=NOW,
        zone=NOW.tzinfo,  # type: ignore[arg-type]
    )
    counter = factories.make_person("Wenna", roles=[Role.COUNTER, Role.AQUARIST])
    for sheet in census.sheets.all():
        issue(sheet=sheet, by=registrar, now=NOW, counters=[counter])
    page = my_tanks(ade)
    assert "E03 Rock Pools: issued" in page
    assert not re.search(r"\bE04\b", page)


def test_an_open_query_of_the_census_stands_there_with_its_owner_and_day_until_it_is_answered(
    ade: Person, mine: Place, theirs: Place, registrar: Person, frozen_clock: object
) -> None:
    for place in (mine, theirs):
        lot = factories.make_lot()
        factories.make_event("received", lot=lot, place=place, unknown=7919373, entered_by=ade)
    census = open_census(
        period=factories.make_period(),
        places=[mine, theirs],
        by=registrar,
        now=NOW,
        zone=NOW.tzinfo,  # type: ignore[arg-type]
    )
    lines = {line.place_id: line for line in Line.objects.filter(sheet__census=census)}

    def decide(place: Place, how: How) -> None:
        Decision.objects.create(
            line=lines[place.pk], how=how.value, stated=how.value, decided_by=registrar, decided_at=NOW,
            owner=registrar, due_on=date(2026, 10, 20),
        )  # fmt: skip

    decide(mine, How.OPEN_QUERY)
    decide(theirs, How.OPEN_QUERY)
    page = my_tanks(ade)
    queries = page[page.index("Open queries of the census") :]
    assert "open query, until 20 October 2026" in queries
    assert "(Maren Tolvsund)" in queries
    assert f"{lines[mine.pk].taxon}" in queries
    assert f"{lines[theirs.pk].taxon}" not in queries
    assert "7919373" not in page
    assert "7,919,373" not in page
    decide(mine, How.COUNT_STANDS)
    assert "Open queries of the census" not in my_tanks(ade)


def test_a_stay_that_ends_today_is_told_and_one_that_ends_tomorrow_is_not(
    ade: Person, registrar: Person, frozen_clock: object
) -> None:
    quarantine = factories.make_place("Q1", kind="quarantine", name="Quarantine fish")
    set_keepers(place=quarantine, keepers=[ade], since=date(2026, 1, 1))
    lots = [factories.make_lot(), factories.make_lot()]
    for lot, ends in zip(lots, (date(2026, 10, 6), date(2026, 10, 7)), strict=True):
        factories.make_event("received", lot=lot, place=quarantine, unknown=4, entered_by=ade)
        expect_end(lot=lot, place=quarantine, ends_on=ends, words="arrived from the coast", by=ade, now=NOW)
    page = my_tanks(ade)
    assert f"Q1 {lots[0].accession}" in page
    assert "35 days in, ends today: to be released" in page
    assert lots[1].accession not in page


def test_what_is_the_persons_own_stays_whole() -> None:
    own = Attention(
        "Your sheets", 1, "/", frozenset(), (attention.Line("sheet", "/s", places=frozenset({9})),)
    )
    of_role = Attention(
        "Below zero",
        3,
        "/",
        frozenset({Role.REGISTRAR}),
        (
            attention.Line("a", "/a", places=frozenset({1})),
            attention.Line("b", "/b", places=frozenset({2})),
            attention.Line("c", "/c"),
        ),
    )
    found = about_places([own, of_role], {1})
    assert found[0] == own
    assert (found[1].total, [line.text for line in found[1].lines]) == (1, ["a"])
    assert about_places([of_role], {5}) == []


def test_a_keeper_who_counts_the_tank_reads_no_number_of_it(
    ade: Person, mine: Place, registrar: Person, frozen_clock: object
) -> None:
    lot = factories.make_lot()
    factories.make_event("received", lot=lot, place=mine, unknown=1, entered_by=registrar)
    factories.make_event(
        "died", lot=lot, place=mine, unknown=7919374, happened="2026-09-30", entered_by=registrar
    )
    census = open_census(
        period=factories.make_period(),
        places=[mine],
        by=registrar,
        now=NOW,
        zone=NOW.tzinfo,  # type: ignore[arg-type]
    )
    for sheet in census.sheets.all():
        issue(sheet=sheet, by=registrar, now=NOW, counters=[ade])
    page = my_tanks(ade)
    assert "Your sheets to count" in page
    assert "7,919,373" not in page
    assert "7919373" not in page


def test_queries_do_not_grow_with_tanks_and_what_waits(
    ade: Person, mine: Place, frozen_clock: object
) -> None:
    client = signed_in(ade)

    def grow(n: int) -> None:
        for _ in range(n):
            place = factories.make_place(parent=mine)
            out_of_range(place, ade)
            below_zero(place, ade)
            ward = factories.make_place(kind="quarantine", parent=mine)
            lot = factories.make_lot()
            factories.make_event("received", lot=lot, place=ward, unknown=4, entered_by=ade)
            expect_end(lot=lot, place=ward, ends_on=date(2026, 10, 6), words="new", by=ade, now=NOW)

    def asked() -> int:
        with CaptureQueriesContext(connection) as captured:
            assert client.get("/my-tanks").status_code == 200
        return len(captured)

    grow(1)
    asked()
    few = asked()
    grow(8)
    assert asked() == few
    assert few <= 90


def test_a_keeper_of_yesterday_sees_nothing_today(
    ade: Person, mine: Place, registrar: Person, frozen_clock: object
) -> None:
    set_keepers(place=mine, keepers=[registrar], since=NOW.date())
    below_zero(mine, ade)
    assert "You keep no tank today" in my_tanks(ade)
