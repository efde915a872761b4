"""The page, the events behind each figure, and the files that it offers."""

import csv
import re
from dataclasses import replace
from datetime import UTC, date, datetime
from html import unescape
from io import BytesIO, StringIO

import openpyxl
import pytest
from django.core.management import call_command
from django.test import Client
from django.utils.timezone import get_current_timezone
from pypdf import PdfReader
from pytest_django import DjangoAssertNumQueries

from census.change.queries.behind import Selection, behind
from census.change.queries.report import Row, change_report, value_of
from census.change.rules.arithmetic import Change
from census.change.rules.columns import BETWEEN_IN, BETWEEN_OUT, SIGNS
from census.change.rules.figures import FIGURES
from census.change.rules.question import Basis, By, Question
from census.change.rules.short import short_form
from census.change.rules.words import running_in_words
from inventory.book.rules.scope import Scope
from inventory.people.rules.roles import Role
from tests.factories import make_house, make_lot, make_person, make_place

from .sample import THIRD_QUARTER, Sample, make_sample

pytestmark = pytest.mark.django_db

QUARTER = {"first_day": "2026-07-01", "last_day": "2026-09-30"}


@pytest.fixture
def sample() -> Sample:
    make_house()
    return make_sample()


@pytest.fixture
def reader(client: Client) -> Client:
    """An inspector: reads everything, changes nothing."""
    person = make_person(roles=[Role.INSPECTOR])
    assert person.user is not None
    client.force_login(person.user)
    return client


def _value(change: Change, figure: str) -> int:
    short = short_form(change)
    sums = {
        "in": short.came_in,
        "out": short.went_out,
        "regrouped": change.flows["regrouped_in"] - change.flows["regrouped_out"],
        "between": sum(SIGNS[column] * change.flows[column] for column in (*BETWEEN_IN, *BETWEEN_OUT)),
    }
    return int(sums[figure] if figure in sums else value_of(change, figure))


def _selection(row: Row, by: By) -> Selection:
    return Selection(row.unit, row.taxon.pk, None if by is By.TAXON else row.key.group)


@pytest.mark.parametrize("scope", list(Scope))
@pytest.mark.parametrize("by", list(By))
@pytest.mark.parametrize("basis", list(Basis))
def test_the_events_behind_every_figure_add_up_to_it(
    sample: Sample, by: By, scope: Scope, basis: Basis
) -> None:
    question = replace(THIRD_QUARTER, by=by, scope=scope, basis=basis)
    zone = get_current_timezone()
    for row in change_report(question, zone=zone).rows:
        for figure in FIGURES:
            expected = _value(row.change, figure)
            if expected:
                found = behind(question, figure, _selection(row, by), zone=zone)
                assert found.figure == expected, (row.name, figure)
                assert sum(one.n for one in found.counted) == found.total


@pytest.mark.parametrize("figure", FIGURES)
def test_the_events_behind_totals_and_zeros_add_up_too(sample: Sample, figure: str) -> None:
    zone = get_current_timezone()
    report = change_report(THIRD_QUARTER, zone=zone)
    for unit, total in report.totals.items():
        assert behind(THIRD_QUARTER, figure, Selection(unit), zone=zone).figure == _value(total, figure)


def test_an_opening_restated_late_is_explained_by_events_with_the_other_sign(sample: Sample) -> None:
    from tests.factories import make_period

    sample.close(make_period(), "2026-10-01T12:00")
    sample.close(sample.second.period, "2026-10-03")
    found = behind(
        THIRD_QUARTER, "late", Selection("animal", sample.taxa["goby"].pk), zone=get_current_timezone()
    )
    assert (found.figure, [one.n for one in found.counted]) == (2, [2])


def _links(page: str) -> list[tuple[str, str]]:
    found = re.findall(r'<a href="(/change/events\?[^"]*)">([^<]*)</a>', page)
    return [(unescape(href), text) for href, text in found]


@pytest.mark.parametrize("by", list(By))
def test_the_page_says_over_its_table_what_its_rows_are_and_when_it_was_read(
    sample: Sample, reader: Client, by: By, frozen_clock: datetime
) -> None:
    page = reader.get("/change", {**QUARTER, "by": by.value}).content.decode()
    heading = re.search(r"<h1>([^<]*)</h1>", page)
    assert heading
    rows = "" if by is By.TAXON else f", by {by.value}"
    assert heading[1] == f"Population change, 1 July 2026 to 30 September 2026{rows}"
    local = frozen_clock.astimezone(get_current_timezone())
    assert f"{local.day} {local:%B %Y %H:%M}</time>" in page[: page.index("<table")]


def test_the_events_of_the_whole_change_stand_under_that_word(sample: Sample, reader: Client) -> None:
    page = reader.get("/reports/taxa", QUARTER).content.decode()
    every_way = [href for href, _ in _links(page) if "late" in href and "moved_out" in href]
    assert every_way
    behind_page = reader.get(every_way[0]).content.decode()
    assert re.search(r"<h1>Change: \N{MINUS SIGN}?[\d,]+</h1>", behind_page)


@pytest.mark.parametrize("show", ["short", "full"])
@pytest.mark.parametrize("by", list(By))
def test_every_figure_of_the_page_opens_its_events_with_their_sum(
    sample: Sample, reader: Client, show: str, by: By
) -> None:
    page = reader.get("/change", {**QUARTER, "show": show, "by": by.value}).content.decode()
    links = _links(page)
    assert len(links) > 20
    for href, text in links:
        behind_page = reader.get(href).content.decode()
        if "." in text:  # m.f.u opens the events of the balance that it prints
            continue
        figure = re.match(r"[+\u2212]?[\d,]+", text)
        assert figure
        foot = behind_page[behind_page.index("<tfoot>") :]
        last = re.findall(r'<td class="num">([^<]*)</td>', foot)[-1]
        assert last == figure.group().lstrip("+"), (href, text)


def test_the_page_is_grouped_by_phylum_class_and_family(sample: Sample, reader: Client) -> None:
    page = reader.get("/change", QUARTER).content.decode()
    headings = re.findall(r'scope="rowgroup"[^>]*><span class="stays">([^<]*)<', page)
    assert headings[0] == "Chordata, Elasmobranchii"
    assert "Chordata, Teleostei, Gobiidae" in headings
    assert "Ties: opening + in \N{MINUS SIGN} out + late = closing" in page
    assert "Sycon ciliatum" in page[page.index("Present, not counted") :]


def test_the_page_says_on_which_basis_it_stands(sample: Sample, reader: Client) -> None:
    reported = reader.get("/change", QUARTER).content.decode()
    assert "as reported (opening: 2026 Q2 version 1; closing: not closed, as known now)" in reported
    known = reader.get("/change", {**QUARTER, "known_at": "2026-10-01T09:00"}).content.decode()
    assert "as known at 1 October 2026 09:00" in known


def test_without_a_question_the_last_full_quarter_is_shown(
    sample: Sample, reader: Client, frozen_clock: object
) -> None:
    page = reader.get("/change").content.decode()
    assert "Population change, 1 July 2026 to 30 September 2026" in page


def test_a_per_cent_stands_only_where_the_opening_is_20_or_more(sample: Sample, reader: Client) -> None:
    page = reader.get("/change", QUARTER).content.decode()
    changes = re.findall(r'<td class="num (?:more|less)">([^<]*)</td>', page)
    assert "\u22125 (\u221217 %)" in changes  # 30 gobies to 25
    assert "\u22121" in changes  # 7 wrasses to 6


@pytest.mark.parametrize(
    ("sort", "first"),
    [
        ("change", ["Gobius niger", "Hippocampus guttulatus", "Scyliorhinus canicula", "Labrus mixtus"]),
        ("unexplained", ["Gobius niger"]),
        ("name", ["Scyliorhinus canicula", "Gobius niger", "Labrus mixtus", "Hippocampus guttulatus"]),
    ],
)
def test_rows_can_be_sorted_by_what_matters(
    sample: Sample, reader: Client, sort: str, first: list[str]
) -> None:
    page = reader.get("/change", {**QUARTER, "sort": sort}).content.decode()
    names = re.findall(r'<th scope="row"><i class="name">([^<]*)</i>', page)
    assert names[: len(first)] == first


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"first_day": "2026-07-01", "last_day": "2026-06-30"}, "give the first day first"),
        ({"first_day": "yesterday"}, "Enter a valid date"),
        ({"by": "colour"}, "Select a valid choice"),
    ],
)
def test_a_question_that_makes_no_sense_is_answered_with_what_to_do(
    reader: Client, asked: dict[str, str], says: str
) -> None:
    for address in ("/change", "/change.csv", "/change.xlsx"):
        answer = reader.get(address, asked)
        assert answer.status_code == 400
        assert says in answer.content.decode()


def test_an_address_that_names_no_figure_says_where_to_go(reader: Client) -> None:
    answer = reader.get("/change/events", {**QUARTER, "figure": "colour"})
    assert answer.status_code == 400
    assert "follow a figure from there" in answer.content.decode()


def test_nobody_reads_the_report_without_signing_in(client: Client) -> None:
    for address in ("/change", "/change/events", "/change.csv", "/change.xlsx"):
        assert client.get(address).status_code == 302


@pytest.mark.parametrize("address", ["/change", "/change/events?figure=closing&unit=animal&"])
def test_a_page_asks_the_same_number_of_queries_however_many_rows(
    sample: Sample, reader: Client, address: str, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    address += ("" if "?" in address else "?") + "first_day=2026-07-01&last_day=2026-09-30"

    def count() -> int:
        with django_assert_max_num_queries(30) as captured:
            assert reader.get(address).status_code == 200
        return len(captured)

    asked = count()
    for _ in range(15):
        sample.book.crossing("received", "2026-07-05", make_lot(), make_place(), 9)
    assert count() == asked


def test_a_long_report_comes_in_parts_with_the_total_of_all(
    sample: Sample, reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = reader.get("/change", QUARTER).content.decode()
    monkeypatch.setattr("census.change.views.ROWS_ON_A_PAGE", 2)
    part = reader.get("/change", QUARTER).content.decode()
    assert "part 1 of 3; the total is of all" in part
    total = re.findall(r"<tfoot>.*?</tfoot>", whole, re.DOTALL)[0]
    assert total in part


def test_the_csv_is_the_command_s(sample: Sample, reader: Client) -> None:
    out = StringIO()
    call_command("change", "--from=2026-07-01", "--to=2026-09-30", "--by=place", "--format=csv", stdout=out)
    answer = reader.get("/change.csv", {**QUARTER, "by": "place"})
    assert answer.content.decode() == out.getvalue()
    assert "population_change_2026-07-01_2026-09-30_by_place.csv" in answer["Content-Disposition"]
    assert len(list(csv.reader(StringIO(answer.content.decode())))) > 5


def test_the_workbook_can_be_opened_from_the_page(sample: Sample, reader: Client) -> None:
    answer = reader.get("/change.xlsx", QUARTER)
    book = openpyxl.load_workbook(BytesIO(answer.content))
    assert book.sheetnames == ["Head", "By taxon", "By place", "Proof"]


def test_the_page_of_an_empty_house_says_so(reader: Client) -> None:
    make_house()
    page = reader.get("/change", QUARTER).content.decode()
    assert "The book holds nothing in this period and this scope." in page


def test_a_period_that_is_not_over_says_so_on_the_page_and_on_the_layouts(
    sample: Sample, reader: Client
) -> None:
    running = {"first_day": "2026-07-01", "last_day": "2099-09-30"}
    for address in ("/change", "/reports/taxa"):
        assert "and changes until the end of 30 September 2099" in reader.get(address, running).text
        assert "The period is not over" not in reader.get(address, QUARTER).text


@pytest.mark.parametrize("address", ["/change.xlsx", "/reports/taxa.xlsx"])
def test_a_workbook_of_a_period_that_is_not_over_says_so(
    sample: Sample, reader: Client, address: str
) -> None:
    running = {"first_day": "2026-07-01", "last_day": "2099-09-30"}
    for asked, said in ((running, True), (QUARTER, False)):
        book = openpyxl.load_workbook(BytesIO(reader.get(address, asked).content))
        told = {row[0]: row[1] for row in book["Head"].iter_rows(values_only=True) if row[0]}
        assert ("changes until the end of" in str(told.get("not over yet"))) == said


@pytest.mark.parametrize("address", ["/change.csv", "/reports/taxa.csv"])
def test_each_row_of_a_csv_of_a_period_that_is_not_over_says_so(
    sample: Sample, reader: Client, address: str
) -> None:
    """A csv has no head, and its rows are copied beside those of other quarters."""
    running = {"first_day": "2026-07-01", "last_day": "2099-09-30"}
    rows = list(csv.DictReader(StringIO(reader.get(address, running).text)))
    assert rows
    assert all("changes until the end of 2099-09-30." in row["not over yet"] for row in rows)
    over = list(csv.DictReader(StringIO(reader.get(address, QUARTER).text)))
    assert over
    assert "not over yet" not in over[0]


def test_the_print_of_a_period_that_is_not_over_says_so(sample: Sample, reader: Client) -> None:
    running = {"first_day": "2026-07-01", "last_day": "2099-09-30"}
    for asked, said in ((running, True), (QUARTER, False)):
        first = PdfReader(BytesIO(reader.get("/reports/taxa.pdf", asked).content)).pages[0].extract_text()
        assert ("changes until the end of 30 September 2099" in " ".join(first.split())) == said


@pytest.mark.parametrize(
    ("today", "known_at", "said"),
    [
        (date(2026, 9, 30), None, "what the book holds on 30 September 2026, and changes until the end of"),
        (date(2026, 10, 1), None, ""),
        (date(2026, 9, 1), datetime(2026, 9, 1, tzinfo=UTC), ""),
    ],
)
def test_a_period_runs_to_the_end_of_its_last_day(today: date, known_at: datetime | None, said: str) -> None:
    question = Question(date(2026, 7, 1), date(2026, 9, 30), known_at=known_at)
    told = running_in_words(question, today)
    assert said in told
    assert bool(told) == bool(said)


@pytest.mark.parametrize(
    "days", [("0026-07-01", "2026-09-30"), ("0001-01-01", "0001-03-31"), ("2026-07-01", "9999-12-31")]
)
@pytest.mark.parametrize("page", ["/change", "/reports/taxa", "/reports/permits", "/populations/trend"])
def test_a_year_that_was_mistyped_is_told_and_not_reckoned_with(
    reader: Client, days: tuple[str, str], page: str
) -> None:
    """Before the first year of the calendar and after the last there is no quarter."""
    answer = reader.get(page, {"first_day": days[0], "last_day": days[1]})
    assert answer.status_code == 400
    assert "expected one of 1500 to 2999, in four digits" in answer.content.decode()
