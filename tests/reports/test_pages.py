"""The pages of the reports: who sees them, what they say, and how much they ask the database."""

import re
from datetime import UTC, datetime
from html import unescape

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from pytest_django import DjangoAssertNumQueries

from census.reports.models import StockListColumns
from census.reports.queries.columns import columns_in_use
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.stock_list import DEFAULT
from inventory.book import blind
from inventory.names.models import TaxonName
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from tests.change.sample import Sample
from tests.factories import make_lot, make_person, make_place, make_taxon

from .conftest import OF_THE_HOUSE, QUARTER

pytestmark = pytest.mark.django_db

ADDRESSES = [f"/reports/{layout}{ending}" for layout in LAYOUTS for ending in ("", ".xlsx", ".csv", ".pdf")]


@pytest.mark.parametrize("address", ["/reports", *ADDRESSES])
def test_nobody_reads_a_report_without_signing_in(client: Client, address: str) -> None:
    assert client.get(address).status_code == 302


@pytest.mark.parametrize("address", ADDRESSES)
def test_who_is_counting_gets_no_report_and_is_told_why(
    sample: Sample, reader: Client, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def hides(person: Person) -> set[int]:
        return {sample.places["E1"].pk}

    monkeypatch.setattr(blind, "_ASKED", [])
    blind.ask(hides)
    answer = reader.get(address, QUARTER)
    assert answer.status_code == 403
    assert "You are counting E1" in answer.content.decode()


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_every_number_of_the_page_opens_events_with_that_sum(
    sample: Sample, reader: Client, layout: str
) -> None:
    page = reader.get(f"/reports/{layout}", QUARTER).content.decode()
    links = [
        (unescape(href), text)
        for href, text in re.findall(r'<a href="(/change/events\?[^"]*)">([^<]*)<', page)
    ]
    numbers = [(href, text) for href, text in links if "." not in text]
    assert len(numbers) > 15
    for href, text in numbers[::4]:
        foot = reader.get(href).content.decode().partition("<tfoot>")[2]
        assert re.findall(r'<td class="num">([^<]*)</td>', foot)[-1] == text.lstrip("+"), (href, text)


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_a_page_asks_the_same_number_of_queries_however_many_rows(
    sample: Sample, reader: Client, layout: str, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    def count() -> int:
        with django_assert_max_num_queries(60) as captured:
            assert reader.get(f"/reports/{layout}", QUARTER).status_code == 200
        return len(captured)

    asked = count()
    for _ in range(10):
        sample.book.crossing("received", "2026-07-05", make_lot(taxon=make_taxon()), make_place(), 9)
    assert count() == asked


def test_a_long_report_comes_in_parts_with_the_total_of_all(
    sample: Sample, reader: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("census.reports.tables.LINES_ON_A_PAGE", 2)
    page = reader.get("/reports/stock-list", QUARTER).content.decode()
    assert "lines here; the total is of all" in page
    assert "1 of " in page[page.index('aria-current="page"') :]


def test_a_report_that_is_not_there_says_which_are(reader: Client) -> None:
    assert reader.get("/reports/colours").status_code == 404
    assert reader.get("/reports/exhibits.csv", {**QUARTER, "part": "colours"}).status_code == 404


def test_a_question_that_makes_no_sense_is_answered_with_what_to_do(reader: Client) -> None:
    answer = reader.get("/reports/periods", {"first_day": "2010-01-01", "last_day": "2026-09-30"})
    assert answer.status_code == 400
    assert "at most 12 quarters; choose a shorter period" in answer.content.decode()


def test_a_name_that_is_none_is_answered_with_a_question_that_ends_as_one(
    sample: Sample, reader: Client
) -> None:
    answer = reader.get("/reports/taxon", {"subject": "Gobius"})
    assert answer.status_code == 400
    assert "do you mean one of: Gobius niger?</li>" in answer.content.decode()


@pytest.fixture
def registrar(client: Client) -> Client:
    person = make_person(roles=[Role.REGISTRAR])
    assert person.user is not None
    client.force_login(person.user)
    return client


def test_a_registrar_arranges_the_columns_and_the_list_still_ties(sample: Sample, registrar: Client) -> None:
    headings = {
        **DEFAULT,
        "put_down": "put down",
        "found": "found, unaccounted",
        "unaccounted": "found, unaccounted",
    }
    answer = registrar.post("/reports/stock-list/columns", {**headings, "why": "as the licence of 2026 asks"})
    assert answer.status_code == 302
    assert columns_in_use() == headings
    page = registrar.get("/reports/stock-list", QUARTER).content.decode()
    assert "Found, unaccounted" in page
    assert "Ties: opening + in \N{MINUS SIGN} out + late = closing" in page


def test_a_kind_of_change_without_a_heading_is_refused(sample: Sample, registrar: Client) -> None:
    answer = registrar.post("/reports/stock-list/columns", {**DEFAULT, "died": " "})
    assert answer.status_code == 400
    assert not StockListColumns.objects.exists()


def test_an_arrangement_is_kept_for_ever(sample: Sample, registrar: Client) -> None:
    registrar.post("/reports/stock-list/columns", {**DEFAULT, "put_down": "put down"})
    for change in (StockListColumns.objects.all().delete, lambda: StockListColumns.objects.update(why="")):
        with pytest.raises(IntegrityError), transaction.atomic():
            change()


def test_only_a_registrar_arranges_the_columns(reader: Client) -> None:
    assert reader.get("/reports/stock-list/columns").status_code == 403


def test_an_animal_of_which_no_number_is_in_the_book_has_no_empty_headings(
    sample: Sample, reader: Client
) -> None:
    make_taxon("Balanus crenatus", count_class="D")
    page = reader.get("/reports/taxon", {"subject": "Balanus crenatus"}).content.decode()
    assert "No number of it is in the book in these two years." in page
    assert page.count("Nothing of it is in the book at the end.") == 2


def test_what_an_animal_was_called_and_typed_as_is_in_italics_on_its_page(
    sample: Sample, reader: Client
) -> None:
    goby, lot = sample.taxa["goby"], sample.lots["goby"]
    lot.verbatim_identification = "Gobius nigre"
    lot.save()
    since = datetime(2026, 8, 1, tzinfo=UTC)
    TaxonName.objects.create(taxon=goby, scientific_name="Gobius jozo", since=since)
    page = reader.get("/reports/taxon", {"subject": goby.scientific_name}).content.decode()
    assert '<i class="name">Gobius jozo</i> since 1 August 2026' in page
    assert '<dd><i class="name">Gobius nigre</i></dd>' in page
