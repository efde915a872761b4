"""The line that relates the three scopes: its figures are those of the three reports."""

from dataclasses import replace

import pytest
from django.test import Client
from django.utils.timezone import get_current_timezone

from census.change.queries.report import change_report
from census.change.rules.scopes import ScopeNumbers
from inventory.book.rules.scope import Scope
from inventory.people.rules.roles import Role
from tests.factories import make_person

from .sample import THIRD_QUARTER, make_sample

pytestmark = pytest.mark.django_db


def test_each_scope_s_totals_are_those_that_the_line_says_of_it() -> None:
    make_sample()
    zone = get_current_timezone()
    reports = {scope: change_report(replace(THIRD_QUARTER, scope=scope), zone=zone) for scope in Scope}
    for report in reports.values():
        for scope, other in reports.items():
            for unit, total in other.totals.items():
                assert report.opening_scopes.get(unit, ScopeNumbers()).of(scope) == total.opening, (
                    scope,
                    unit,
                )
                assert report.closing_scopes.get(unit, ScopeNumbers()).of(scope) == total.closing, (
                    scope,
                    unit,
                )
    # Two of eight sharks are away at the end; lender's animals are here and not ours.
    animals = reports[Scope.HERE].closing_scopes["animal"]
    assert animals.elsewhere == 2
    assert animals.lent_to_us > 0


def test_the_page_relates_its_scope_to_the_others() -> None:
    make_sample()
    person = make_person(roles=[Role.INSPECTOR])
    assert person.user is not None
    client = Client()
    client.force_login(person.user)
    page = client.get("/change", {"first_day": "2026-07-01", "last_day": "2026-09-30"}).content.decode()
    report = change_report(THIRD_QUARTER, zone=get_current_timezone())
    closing = report.closing_scopes["animal"]
    assert f"{closing.here} here + 2 ours elsewhere = {closing.all} in all" in page
    assert "This report shows “here”." in page
