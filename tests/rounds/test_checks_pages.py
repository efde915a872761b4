"""Pages of the tests of counting: draws, sample, second typing, what the curator signs."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from census.rounds import attention
from census.rounds.actions.beside import state_no_second
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.decide import decide_line
from census.rounds.actions.drawing import draw_sample
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.sheets import issue
from census.rounds.actions.signing import sign
from census.rounds.models import Census, Draw, Retyping, SampleResult, Sheet
from census.rounds.queries.measures import measures_of
from census.rounds.queries.open_items import open_items
from census.rounds.queries.progress import late_sheets, sheets_of
from census.rounds.queries.reading import read_census
from census.rounds.queries.signed import what_is_signed
from census.rounds.rules.measures import Delay, Recounted, delay, per_hundred, recount_agreement
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How, SecondName
from inventory.people.models import Person
from tests import factories

from .house import COUNTED, NOW, WITHOUT, ZONE, TestHouse, at


def signed_in(client: Client, person: Person) -> Client:
    assert person.user is not None
    client.force_login(person.user)
    return client


def test_the_share_of_recounts_that_agree_shows_whose_error_it_was() -> None:
    made = [
        Recounted("B", book=10, first=8, second=10),
        Recounted("B", book=10, first=8, second=8),
        Recounted("B", book=10, first=8, second=9),
        Recounted("C", book=100, first=96, second=98),
    ]
    found = recount_agreement(5, made)
    assert (found.asked, found.made, found.with_book, found.with_first) == (5, 4, 2, 2)
    assert found.with_book_percent == found.with_first_percent == 50.0
    assert recount_agreement(1, []).with_book_percent is None


def test_delays_are_whole_days_with_their_median() -> None:
    assert delay([]) == Delay(0, None, None)
    assert delay([timedelta(hours=5), timedelta(days=2), timedelta(days=9)]) == Delay(3, 2.0, 9)
    assert delay([timedelta(days=1), timedelta(days=4)]).median == 2.5


def test_a_rate_per_hundred_needs_animals() -> None:
    assert per_hundred(32, 2830) == 1.1
    assert per_hundred(3, 0) is None


@pytest.mark.django_db
def test_the_measures_tell_losses_and_gains_apart_and_what_came_late(house: TestHouse) -> None:
    census = house.compared({"goby": 9, "wrasse": 19, "shoal": 300})
    house.count(census, {"goby": 9, "wrasse": 19}, round=2)
    for sheet in census.sheets.filter(state="recount asked"):
        Sheet.objects.filter(pk=sheet.pk).update(state="handed in")
    for name, reason, n in (("goby", "unexplained loss", -2), ("wrasse", "unexplained gain", 1)):
        settling = Settling(how=How.ADJUSTMENT, reason=reason, n=n)
        decide_line(line=house.line(census, name), settling=settling, by=house.registrar, now=NOW, zone=ZONE)
    factories.make_event(
        "died", lot=house.lots["cod"], place="K1", happened="2026-09-10", now=at("2026-09-30T09:00")
    )
    rows = read_census(census)
    measures = measures_of(census, rows, DEFAULTS, zone=ZONE)
    animals = measures.unexplained[0]
    assert (animals.what, animals.losses, animals.gains) == ("animal", 2, 1)
    assert (measures.recounts.made, measures.recounts.with_book, measures.recounts.with_first) == (2, 0, 2)
    assert [(row.name, d.n) for row, d in measures.largest] == [("Gobius niger", -2), ("Symphodus melops", 1)]
    assert measures.late_entries == 1
    assert measures.never_counted == []


@pytest.mark.django_db
def test_a_tank_that_loses_a_fifth_in_four_censuses_is_named(house: TestHouse) -> None:
    census = house.compared({"wrasse q": 3})
    house.count(census, {"wrasse q": 3}, round=2)
    Sheet.objects.filter(census=census).update(state="handed in")
    settling = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-3, note="the tank leaks")
    decide_line(
        line=house.line(census, "wrasse q"),
        settling=settling,
        by=house.registrar,
        approved_by=house.curator,
        now=NOW,
        zone=ZONE,
    )
    rows = read_census(census)
    assert measures_of(census, rows, DEFAULTS, zone=ZONE).tank_alarms == []  # nothing closed yet
    sign(census=census, by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)
    census = Census.objects.get()
    alarms = measures_of(census, read_census(census), DEFAULTS, zone=ZONE).tank_alarms
    assert [(one.what, one.losses, one.held) for one in alarms] == [("K2", 3, 3)]


@pytest.mark.django_db
def test_what_is_signed_is_read_in_as_many_queries_for_many_lines_as_for_few(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    census = house.compared({"goby": 6})
    draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")

    def read() -> None:
        what_is_signed(census, rows, now=NOW, zone=ZONE)

    rows = read_census(census)
    read()
    with CaptureQueriesContext(connection) as few:
        read()
    house.add_many_lines(census)
    rows = read_census(census)
    with django_assert_num_queries(len(few)):
        read()


@pytest.mark.django_db
def test_the_curator_reads_why_class_a_had_one_counter(house: TestHouse, client: Client) -> None:
    census = house.compared({})
    line = house.line(census, "conger")
    page = signed_in(client, house.curator).get(reverse("census_sign", args=[census.code])).content.decode()
    assert "nobody said why" in page
    assert "<strong>none was drawn</strong>" in page
    state_no_second(census=census, task=SecondName.COUNTER, why="ill", by=house.registrar, now=NOW, line=line)
    page = client.get(reverse("census_sign", args=[census.code])).content.decode()
    assert "no second person: ill" in page


@pytest.mark.django_db
def test_the_registrar_draws_and_writes_results_on_a_page(house: TestHouse, client: Client) -> None:
    census = house.compared({})
    address = reverse("census_checks", args=[census.code])
    page = signed_in(client, house.registrar).post(address, {"step": "draw_recounts"}, follow=True)
    assert "Drawn with the seed" in page.content.decode()
    client.post(address, {"step": "draw_sample"})
    draw = Draw.objects.get(what="sample")
    one = draw.lines.filter(line__isnull=False).first()
    assert one is not None
    page = client.post(address, {"step": "result", "drawn": one.pk, "found": "many"}, follow=True)
    assert "Nothing was done" in page.content.decode()
    client.post(address, {"step": "result", "drawn": one.pk, "found": "0", "note": "gone"})
    assert SampleResult.objects.get().note == "gone"
    line = house.line(census, "conger")
    page = client.post(address, {"step": "no_second", "line": line.pk, "why": "ill"}, follow=True)
    assert "stated on what is signed" in page.content.decode()


@pytest.mark.django_db
def test_the_page_of_a_sample_tells_no_number_of_the_book_before_its_result(
    house: TestHouse, client: Client
) -> None:
    for n in (7901901 - 420,):
        factories.make_event(
            "received", lot=house.lots["shoal"], place="K1", unknown=n, happened="2026-08-01"
        )
    census = house.compared({"shoal": 7901901})
    draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    page = signed_in(client, house.registrar).get(reverse("census_checks", args=[census.code]))
    assert "7901901" not in page.content.decode().replace(",", "").replace("\u202f", "")


@pytest.mark.django_db
def test_an_inspector_draws_on_the_page_and_a_counter_may_not(house: TestHouse, client: Client) -> None:
    census = house.compared({})
    address = reverse("census_checks", args=[census.code])
    inspector = factories.make_person(roles=["inspector"])
    signed_in(client, inspector).post(address, {"step": "draw_inspection"})
    assert Draw.objects.get().what == "inspection"
    assert "sample" not in {draw.what for draw in Draw.objects.all()}
    page = client.post(address, {"step": "draw_sample"}, follow=True).content.decode()
    assert "may not draw a sample" in page
    assert signed_in(client, house.first).get(address).status_code == 403


@pytest.mark.django_db
def test_a_typist_types_again_without_seeing_what_was_typed(house: TestHouse, client: Client) -> None:
    typist = factories.make_person("Sella", roles=["typist"])
    census = house.opened_and_issued("K1")
    line = house.line(census, "goby")
    entry = Entry(line=line.number, counted_at=COUNTED, counter=house.first, value=7907907)
    take_counts(sheet=line.sheet, entries=[entry], by=typist, now=COUNTED)
    address = reverse("census_typing", args=[census.code])
    assert "Nothing waits" in signed_in(client, typist).get(address).content.decode()
    other = factories.make_person("Tyra", roles=["typist"])
    page = signed_in(client, other).get(address).content.decode()
    assert "Gobius niger" in page
    assert "7907907" not in page
    count = line.counts.get()
    client.post(address, {f"count_{count.pk}": "7970"})
    assert Retyping.objects.get().agrees is False
    assert signed_in(client, house.officer).get(address).status_code == 403


@pytest.mark.django_db
def test_the_board_says_who_is_late_and_what_is_uncounted(house: TestHouse) -> None:
    census = house.open("K1", "K2")
    for place, planned in (("K1", None), ("K2", at("2026-09-29T10:00"))):
        issue(
            sheet=census.sheets.get(place__code=place),
            by=house.registrar,
            now=at("2026-09-23T09:00"),
            counters=[house.first],
            planned_at=planned,
        )

    def late(moment: str) -> list[tuple[str, str, int | None]]:
        sheets = sheets_of(census, now=at(moment))
        return [(one.sheet.place.code, one.late, one.days_out) for one in late_sheets(sheets)]

    assert late("2026-09-30T09:00") == []
    assert late("2026-09-30T10:01") == [("K2", "was to be counted a day ago or more", 7)]
    assert late("2026-10-06T00:01") == [
        ("K1", "the days of counting are over", 12),
        ("K2", "the days of counting are over", 12),
    ]
    assert sum(one.uncounted for one in sheets_of(census, now=NOW)) == 8


@pytest.mark.django_db
def test_a_recount_that_is_overdue_is_late(house: TestHouse) -> None:
    census = house.compared({"goby": 6})
    ask_recount(lines=[house.line(census, "goby")], of=house.second, by=house.registrar, now=NOW)
    soon, after = NOW + timedelta(hours=71), NOW + timedelta(hours=73)
    assert late_sheets(sheets_of(census, now=soon)) == []
    assert [one.late for one in late_sheets(sheets_of(census, now=after))] == ["recount is overdue"]


@pytest.mark.django_db
def test_a_sheet_out_for_a_recount_is_with_who_counts_again(house: TestHouse) -> None:
    """Not with its counter, who cannot bring it back. The board, Today and what blocks signing agree."""
    census = house.compared({"goby": 6})
    number = house.line(census, "goby").sheet.number
    ask_recount(lines=[house.line(census, "goby")], of=house.second, by=house.registrar, now=NOW)
    assert [one.again for one in sheets_of(census, now=NOW) if one.sheet.number == number] == ["Bror"]
    out = open_items(census, read_census(census))[0]
    assert out.text == f"{number} (K1) is out for a recount, with Bror"
    today = attention.items(house.curator, now=NOW)
    (sheets,) = (one.lines for one in today if "sheets that are not in" in one.heading)
    assert [line.owner for line in sheets] == ["Bror"]
    for person, n in ((house.first, 0), (house.second, 1)):
        told = attention.items(person, now=NOW)
        assert sum(one.total for one in told if one.heading == "Your sheets to count") == n
    house.count(census, {"goby": 11}, round=2)
    assert [one.again for one in sheets_of(census, now=NOW) if one.sheet.number == number] == ["Bror"]
