"""A report is of one moment, though people enter while it is read."""

from collections.abc import Callable
from dataclasses import replace
from io import StringIO
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection, transaction
from django.test import Client
from django.utils.timezone import get_current_timezone

from census.change.queries import of_lots
from census.change.queries.remembered import remembered_periods, remembered_report, remembered_reports
from census.change.queries.report import Report
from census.change.rules.question import By
from census.population.writers.methods import METHODS
from census.reports.queries.checked import checked
from census.reports.queries.documents import document_of
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.checking import failures
from census.reports.rules.said import Saying
from inventory.book.models import Place
from inventory.book.queries.quantities import columns, flows_of_lots, spans
from inventory.db.moment import one_moment
from inventory.people.rules.roles import Role
from tests.factories import make_event, make_house, make_person, make_place
from tests.threads import at_once

from .sample import SECOND_QUARTER, THIRD_QUARTER, Sample, make_sample

ZONE = get_current_timezone()


def _while_it_is_read(sample: Sample, monkeypatch: pytest.MonkeyPatch) -> None:
    """After each reading of what is held, before the flows are read, another enters a death."""
    for module in (columns, spans):
        monkeypatch.setattr(module, "from_closing", _followed(module.from_closing, sample))
        monkeypatch.setattr(module, "from_now", _followed(module.from_now, sample))


def _followed(read: Callable[..., Any], sample: Sample) -> Callable[..., Any]:
    """The same reading, and then another enters a death."""

    def enter(_: int) -> None:
        try:
            make_event("died", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-09-20")
        finally:
            connection.close()

    def reading(*args: Any, **more: Any) -> Any:
        found = read(*args, **more)
        at_once(enter, [0])
        return found

    return reading


@pytest.mark.django_db(transaction=True)
def test_a_report_ties_though_somebody_enters_while_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    sample = make_sample()
    _while_it_is_read(sample, monkeypatch)
    made: list[Report] = [
        remembered_report(THIRD_QUARTER, zone=ZONE),
        *remembered_reports(THIRD_QUARTER, [By.PLACE, By.LOT], zone=ZONE),
        *remembered_periods([SECOND_QUARTER, THIRD_QUARTER], zone=ZONE),
    ]
    assert [report.named_untied for report in made] == [[]] * len(made)


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("layout", ["taxa", "exhibits", "periods", "permits", "stock-list"])
def test_a_layout_ties_though_somebody_enters_while_it_is_read(
    layout: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_house()
    sample = make_sample()
    _while_it_is_read(sample, monkeypatch)
    for _ in range(2):
        assert failures(document_of(LAYOUTS[layout], THIRD_QUARTER, Saying(ZONE))) == []


@pytest.mark.django_db(transaction=True)
def test_the_command_ties_though_somebody_enters_while_it_reads(monkeypatch: pytest.MonkeyPatch) -> None:
    make_house()
    sample = make_sample()
    monkeypatch.setattr(of_lots, "flows_of_lots", _followed(flows_of_lots, sample))
    asked = ("--subject=Gobius niger", "--from=2026-07-01", "--to=2026-09-30")
    told = StringIO()
    call_command("report", "taxon", *asked, stdout=StringIO(), stderr=told)
    assert "ties" in told.getvalue().lower()


@pytest.mark.django_db(transaction=True)
def test_what_does_not_tie_is_remembered_of_the_book_that_was_read_and_not_of_a_later_one() -> None:
    sample = make_sample()
    layout, saying = LAYOUTS["taxa"], Saying(ZONE)
    wrong = replace(document_of(layout, THIRD_QUARTER, saying), untied=["a row"])
    make_event("died", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-09-20")
    assert checked(wrong) == ["a row"]
    assert checked(document_of(layout, THIRD_QUARTER, saying)) == []


@pytest.mark.django_db(transaction=True)
def test_every_page_of_figures_is_made_in_one_moment_outside_of_a_transaction(client: Client) -> None:
    """Which nothing that begins one of its own would be."""
    make_house()
    make_sample()
    person = make_person(roles=[Role.REGISTRAR])
    assert person.user is not None
    client.force_login(person.user)
    asked = {"first_day": "2026-07-01", "last_day": "2026-09-30"}
    pages = [f"/reports/{name}" for name in LAYOUTS] + [f"/populations/{name}" for name in METHODS]
    for page in (*pages, "/change", "/change/events", "/reports/taxa.xlsx", "/reports/permits.csv"):
        more = {"subject": "Gobius niger", "figure": "died", "unit": "animal"}
        for _ in range(2):
            assert client.get(page, {**asked, **more}).status_code == 200, page


@pytest.mark.django_db(transaction=True)
def test_a_moment_ends_also_where_something_is_raised_and_one_within_another_is_the_same() -> None:
    with pytest.raises(ValueError, match="raised"), one_moment(), one_moment():
        raise ValueError("raised inside")
    with transaction.atomic():
        make_place("E9")
    with one_moment():
        with one_moment():
            assert Place.objects.filter(code="E9").exists()
        at_once(_place_of_another, ["E10"])
        assert not Place.objects.filter(code="E10").exists()
    assert Place.objects.filter(code="E10").exists()


def _place_of_another(code: str) -> None:
    try:
        make_place(code)
    finally:
        connection.close()
