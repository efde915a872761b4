"""The pages and the command: for whom, from what, and with what behind each figure."""

import csv
import json
import re
from datetime import date, datetime
from html import unescape
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils.timezone import get_current_timezone

from census.population.actions.expect import keep_expectations
from census.population.attention import items
from census.population.models import Expectation
from census.population.queries.expecting import scores
from census.population.queries.watching import false_if_high, read_watch
from census.population.rules.asked import Asked
from census.population.writers.losses import losses
from census.population.writers.methods import METHODS
from census.population.writers.rates import _chance
from census.population.writers.setting import Setting
from inventory.book import blind
from inventory.book.actions.ways_out import note_way_out, shut_way_out
from inventory.book.rules.words import signed
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from tests.change.rows import Book
from tests.change.sample import Sample, make_sample
from tests.factories import NOW, make_house, make_lot, make_period, make_person, make_place, make_taxon

pytestmark = pytest.mark.django_db

QUARTER = {"first_day": "2026-07-01", "last_day": "2026-09-30"}


@pytest.fixture
def sample() -> Sample:
    make_house()
    return make_sample()


def _signed_in(client: Client, role: Role, name: str = "") -> Client:
    person = make_person(name, roles=[role])
    assert person.user is not None
    client.force_login(person.user)
    return client


@pytest.mark.parametrize("name", list(METHODS))
def test_each_page_answers_with_a_chart_that_is_told_and_a_table(
    sample: Sample, client: Client, name: str
) -> None:
    answer = _signed_in(client, Role.INSPECTOR).get(f"/populations/{name}", QUARTER)
    page = answer.content.decode()
    assert answer.status_code == 200
    assert page.count("<svg") == page.count('role="img"') == page.count("<desc ")
    assert name in ("stages", "watch") or "<caption>" in page
    identifiers = re.findall(r'<title id="([^"]+)"', page)
    assert len(identifiers) == len(set(identifiers))


@pytest.mark.parametrize("role", list(Role))
@pytest.mark.parametrize("name", ["trend", "watch"])
def test_everybody_who_is_signed_in_reads_them(client: Client, role: Role, name: str) -> None:
    make_house()
    client = _signed_in(client, role)
    assert client.get("/populations").status_code == 200
    assert client.get(f"/populations/{name}").status_code == 200


def test_nobody_reads_them_signed_out(client: Client) -> None:
    assert client.get("/populations/trend").status_code == 302


@pytest.mark.parametrize("address", ["/populations", "/populations/trend", "/populations/rates.csv"])
def test_who_counts_a_tank_gets_no_page_and_is_told_why(
    sample: Sample, client: Client, monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    place = sample.places["E1"].pk
    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(lambda person: {place} if person.name == "The counter" else set())
    answer = _signed_in(client, Role.AQUARIST, "The counter").get(address, QUARTER)
    assert answer.status_code == 403
    assert "<table" not in answer.content.decode()


@pytest.mark.parametrize("name", ["trend", "losses", "moves", "rates", "growth", "compare"])
def test_every_figure_opens_events_that_add_up_to_it(sample: Sample, client: Client, name: str) -> None:
    client = _signed_in(client, Role.INSPECTOR)
    page = client.get(f"/populations/{name}", QUARTER).content.decode()
    links = {
        (unescape(href), text)
        for href, text in re.findall(r'<a href="(/change/events\?[^"]*)">([^<]*)</a>', page)
    }
    assert links
    for href, text in links:
        behind = client.get(href).content.decode()
        figure = re.search(r"<h1>[^<]*: ([\d,\u2212]+)</h1>", behind)
        assert figure, href
        assert figure[1].lstrip("\u2212") == text.lstrip("+\u2212"), href


def test_a_cohort_opens_its_arrivals_and_the_deaths_that_may_be_its_own(
    sample: Sample, client: Client
) -> None:
    client = _signed_in(client, Role.INSPECTOR)
    asked = {"first_day": "2026-06-01", "last_day": "2026-09-30", "taxon": "Hippocampus guttulatus"}
    page = client.get("/populations/soon-after", asked).content.decode()
    links = re.findall(r'<a href="(/change/events\?[^"]*)">([^<]*)</a>', page)
    told = {text: client.get(unescape(href)).content.decode() for href, text in links}
    assert "born or hatched: 14" in told["14"].lower()
    assert re.search(r"<h1>[^<]*: 3</h1>", told["3"])


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        ({"taxon": "Nemo nobody"}, "No taxon and no family is called"),
        ({"place": "NOWHERE"}, "No place has the code"),
        ({"first_day": "2026-09-30", "last_day": "2026-07-01"}, "before it starts"),
        ({"first_day": "1990-01-01", "last_day": "2026-07-01"}, "more than ten years"),
    ],
)
def test_what_cannot_be_asked_is_told_beside_the_form(
    sample: Sample, client: Client, asked: dict[str, str], told: str
) -> None:
    answer = _signed_in(client, Role.CURATOR).get("/populations/trend", asked)
    assert answer.status_code == 400
    assert told in answer.content.decode()


def test_there_are_no_other_pages_and_no_other_tables(sample: Sample, client: Client) -> None:
    client = _signed_in(client, Role.CURATOR)
    assert client.get("/populations/health").status_code == 404
    assert client.get("/populations/trend.csv", {"part": "9"}).status_code == 404


def test_a_family_is_asked_for_as_a_taxon_is(sample: Sample, client: Client) -> None:
    page = _signed_in(client, Role.CURATOR).get("/populations/compare", {**QUARTER, "taxon": "gobiidae"})
    told = page.content.decode()
    assert "Gobius niger" in told
    assert "Labrus mixtus" not in told


def test_unaccounted_stands_by_place_and_month_beside_hunters_and_ways_out(
    sample: Sample, client: Client
) -> None:
    for name, family in (("Conger conger", "Congridae"), ("Octopus vulgaris", "Octopodidae")):
        hunter = make_lot(family, taxon=make_taxon(name, family=family))
        sample.book.crossing("opening", "2026-07-02", hunter, sample.places["E1"], 1)
    registrar = make_person(roles=[Role.REGISTRAR])
    place, today = sample.places["E1"], date(2026, 9, 30)
    shut = note_way_out(
        place=place, what="lid off", since=date(2026, 8, 1), today=today, by=registrar, now=NOW
    )
    shut_way_out(way_out=shut, until=date(2026, 8, 20), today=today, by=registrar, now=NOW)
    note_way_out(place=place, what="drain open", since=date(2026, 9, 5), today=today, by=registrar, now=NOW)
    asked = Asked(date(2026, 7, 1), date(2026, 9, 30), date(2026, 9, 30))
    section = losses(asked, Setting(get_current_timezone(), compares=True)).sections[-1]
    assert section.table is not None
    told = {(row["month"], row["place"]): row for row in section.table.records()}
    # Four of the gobies of E1, which September began with 27 animals; E2 began with fewer than twenty.
    e1 = told["2026-09", "E1"]
    assert (e1["opening"], e1["unaccounted"]) == (27, 4)
    assert e1["per_100"] == pytest.approx(100 * 4 / 27)
    assert e1["hunters"] == "Conger conger, Octopus vulgaris"
    assert e1["ways_out"] == "drain open, 2026-09-05 to now"
    assert all(row["hunters"] == "" for (_, place), row in told.items() if place != "E1")
    page = _signed_in(client, Role.CURATOR).get("/populations/losses", QUARTER).content.decode()
    assert '<td><i class="name">Conger conger</i>, <i class="name">Octopus vulgaris</i></td>' in page
    assert ">drain open, 5 September 2026 to now<" in page
    assert "<td>none</td>" in page


def test_by_place_and_month_adds_up_to_the_losses_by_tank_and_taxon(sample: Sample) -> None:
    asked = Asked(date(2026, 4, 1), date(2026, 9, 30), date(2026, 9, 30))
    *_, where, months = losses(asked, Setting(get_current_timezone(), compares=True)).sections
    for column in ("unaccounted", "found"):
        of_taxa, of_months = (
            {
                place: sum(int(row[column] or 0) for row in table.records() if row["place"] == place)
                for place in ("E1", "E2", "N1")
            }
            for table in (where.table, months.table)
            if table is not None
        )
        assert of_taxa == of_months
        assert any(of_taxa.values())


def test_below_twenty_animals_no_share_is_given_in_per_cent(sample: Sample, client: Client) -> None:
    page = _signed_in(client, Role.CURATOR).get("/populations/growth", QUARTER).content.decode()
    wrasse = page[page.index("Sexes on") :]
    assert "3 of 6" in wrasse
    assert "%</td>" not in wrasse


def test_scientific_names_are_in_italics_in_whatever_column_they_stand(
    sample: Sample, client: Client
) -> None:
    inspector = _signed_in(client, Role.INSPECTOR)
    for name, table in {"losses": -2, "rates": 0, "growth": -1, "soon-after": -1}.items():
        page = inspector.get(f"/populations/{name}", QUARTER).content.decode()
        rows = page.split("<tbody>")[1:][table]
        assert re.search(r'<i class="name">[A-Z][a-z]+ [a-z]+</i>', rows), name
        assert not re.search(r"<t[dh][^>]*>(Gobius niger|Labrus bergylta)<", page)


def test_a_chance_is_never_nought_and_numbers_have_their_thousands_apart() -> None:
    assert (_chance(0.0000004).shown, _chance(0.0123).shown) == ("under 0.001", "0.012")
    assert (signed(1250), signed(-1250), signed(12)) == ("+1,250", "\N{MINUS SIGN}1,250", "+12")


def test_counts_beside_the_book_stand_only_for_those_who_compare(sample: Sample, client: Client) -> None:
    asked = {**QUARTER, "taxon": "Gobius niger"}
    told = "Counts stand here for those who may see them beside the book"
    assert told in _signed_in(client, Role.AQUARIST).get("/populations/trend", asked).content.decode()
    assert told not in _signed_in(client, Role.CURATOR).get("/populations/trend", asked).content.decode()


def test_the_command_gives_the_tables_of_the_page(sample: Sample, client: Client) -> None:
    client = _signed_in(client, Role.INSPECTOR)
    page = client.get("/populations/rates.csv", QUARTER).content.decode()
    out = StringIO()
    days = ("--from", "2026-07-01", "--to", "2026-09-30")
    call_command("population", "rates", *days, "--format", "csv", stdout=out)
    assert list(csv.reader(StringIO(page))) == list(csv.reader(StringIO(out.getvalue())))
    out = StringIO()
    call_command("population", "trend", *days, "--format", "json", stdout=out)
    steps = {row["step"]: row["animals"] for row in json.loads(out.getvalue())}
    assert sum(n for step, n in steps.items() if step != "closing") == steps["closing"]


def test_the_command_says_what_is_wrong(sample: Sample) -> None:
    for arguments, told in (
        (("trend", "--taxon", "Nobody"), "No taxon"),
        (("trend", "--period", "1999"), "No period"),
        (("trend", "--keep"), "--keep goes with expected"),
        (("rates", "--part", "7", "--format", "csv"), "give --part"),
    ):
        with pytest.raises(CommandError, match=told):
            call_command("population", *arguments, stdout=StringIO())


def _watched_house(last: list[str]) -> Book:
    """One tank in which one animal died each month of a year, and then those of ``last``."""
    make_house()
    book, place = Book(), make_place("E1")
    lot = make_lot("HERRING", taxon=make_taxon("Clupea harengus"))
    book.crossing("received", "2025-01-01", lot, place, 400)
    for month in range(7, 19):
        book.crossing("died", f"{2025 + (month - 1) // 12}-{(month - 1) % 12 + 1:02}-11", lot, place, 1)
    for day in last:
        book.crossing("died", day, lot, place, 1)
    return book


def test_the_watch_speaks_when_many_die_and_tells_its_evidence_and_its_false_alarms() -> None:
    book = _watched_house(
        ["2026-10-01", "2026-10-02", "2026-10-02", "2026-10-03", "2026-10-03", "2026-10-03"]
    )
    read = read_watch(date(2026, 10, 6), zone=book.zone)
    (series,) = read.series
    assert (series.base_deaths, series.held) == (12, 382)
    (alarm,) = series.alarms[:1]
    assert alarm.since == date(2026, 10, 1)
    assert alarm.day <= date(2026, 10, 3)
    assert 0 < read.false_alarms_a_year <= 12
    assert false_if_high(read.series) > read.false_alarms_a_year


def test_the_watch_is_silent_when_deaths_come_as_usual() -> None:
    book = _watched_house(["2026-07-04", "2026-08-09", "2026-09-20"])
    assert read_watch(date(2026, 10, 6), zone=book.zone).alarms(date(2026, 1, 1)) == []


def test_a_book_that_is_too_young_says_so_instead_of_watching() -> None:
    make_house()
    read = read_watch(date(2026, 10, 6), zone=get_current_timezone())
    assert read.series == []
    assert "90 days" in read.not_watched


def test_an_alarm_stands_on_the_list_of_today_but_not_for_who_counts_the_tank(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    book = _watched_house(["2026-10-01"] * 5)
    now = book.moment("2026-10-06T09:00")
    person, counter = make_person(roles=[Role.CURATOR]), make_person("The counter", roles=[Role.AQUARIST])
    (item,) = items(person, now=now)
    assert item.lines[0].text.startswith("E1 Clupea harengus: 5 died on 1 October 2026")
    assert "to be expected by chance alone" in item.heading
    hidden = set(item.lines[0].places)

    def hides(who: Person) -> set[int]:
        return hidden if who.name == "The counter" else set()

    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(hides)
    assert items(counter, now=now) == []
    assert items(person, now=book.moment("2026-11-06T09:00")) == []


def test_ranges_are_written_down_once_never_changed_and_scored_afterwards() -> None:
    book = _watched_house(["2026-07-15", "2026-08-15"])
    now = book.moment("2026-07-01T09:00")
    asked = {"first_day": date(2026, 7, 1), "now": now, "zone": book.zone}
    (kept,) = keep_expectations(**asked)  # type: ignore[arg-type]
    assert (kept.opening, kept.quarter_ends_on) == (388, date(2026, 9, 30))
    assert keep_expectations(**asked) == []  # type: ignore[arg-type]
    assert scores(date(2026, 9, 30), zone=book.zone).rows == []
    (score,) = scores(date(2026, 10, 6), zone=book.zone).rows
    assert (score.came, score.inside) == (386, kept.low <= 386 <= kept.high)
    with pytest.raises(IntegrityError), transaction.atomic():
        Expectation.objects.update(low=0)


def test_what_people_bring_is_taken_off_before_a_range_is_scored() -> None:
    book = _watched_house([])
    keep_expectations(first_day=date(2026, 7, 1), now=book.moment("2026-07-01T09:00"), zone=book.zone)
    lot, place = make_lot("BOUGHT", taxon=Expectation.objects.get().taxon), make_place("E2")
    book.crossing("received", "2026-08-01", lot, place, 100)
    (score,) = scores(date(2026, 10, 6), zone=book.zone).rows
    assert (score.closing, score.came, score.inside) == (488, 388, True)


def test_a_closing_writes_the_ranges_of_the_next_quarter_down(
    django_capture_on_commit_callbacks: object,
) -> None:
    from inventory.book.actions.close import close_period

    book = _watched_house([])
    period = make_period("2026 Q2", "2026-04-01", "2026-06-30")
    closed_at: datetime = book.moment("2026-07-15")
    with django_capture_on_commit_callbacks(execute=True):  # type: ignore[operator]
        close_period(period, closed_at=closed_at, signed_by=book.person, zone=book.zone)
    kept = Expectation.objects.get()
    assert (kept.quarter_starts_on, kept.made_at, kept.known_at) == (date(2026, 7, 1), closed_at, closed_at)


def test_a_house_without_animals_is_told_so_and_not_of_scales(client: Client) -> None:
    make_house()
    client = _signed_in(client, Role.INSPECTOR)
    side_by_side = client.get("/populations/compare", QUARTER).text
    assert "The book holds nothing of what is asked for in these eight quarters." in side_by_side
    assert "There is nothing to compare." in side_by_side
    assert "<svg" not in side_by_side
    ahead = client.get("/populations/expected", QUARTER).text
    assert "there is no range to tell" in ahead
    assert "19 of 20 should hold" not in ahead


def test_the_growth_of_a_quarter_that_runs_is_of_the_days_that_are_over(sample: Sample) -> None:
    """Of the days to come nobody knows anything; with them a year's growth came out too small."""

    def grown(last: date) -> list[list[object]]:
        asked = Asked(date(2026, 7, 1), last, date(2026, 9, 30))
        table = METHODS["growth"].answer(asked, Setting(get_current_timezone())).sections[0].table
        assert table is not None
        return [[cell.value for cell in row] for row in table.rows]

    assert grown(date(2026, 12, 31)) == grown(date(2026, 9, 30))


@pytest.mark.parametrize("name", list(METHODS))
def test_every_question_that_the_form_takes_is_answered_however_long(
    sample: Sample, client: Client, name: str
) -> None:
    """Rates look back as many days again, which were more than a page may ask for."""
    asked = {"first_day": "2019-01-01", "last_day": "2026-09-30"}
    assert _signed_in(client, Role.INSPECTOR).get(f"/populations/{name}", asked).status_code == 200
