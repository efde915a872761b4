"""Inspectors come for some days, and what was granted stays written."""

from datetime import date, timedelta
from typing import Any

import pytest
import time_machine
from django.db import IntegrityError, transaction
from django.test import Client

from inventory.people.actions.terms import TermRefused, end_term, grant_term
from inventory.people.models import Person, RoleTerm
from inventory.people.queries import roles_of
from inventory.people.queries.people import everybody
from inventory.people.rules.roles import Role

from ..factories import NOW, make_house, make_person

pytestmark = pytest.mark.django_db
FIRST, LAST = date(2026, 10, 6), date(2026, 10, 8)


@pytest.fixture
def registrar() -> Person:
    person = make_person("Maren Tolvsund", roles=[Role.REGISTRAR])
    make_house(registrar=person)
    return person


@pytest.fixture
def ruadh() -> Person:
    return make_person("Ruadh Maccaskin", signs_in=True)


def _granted(person: Person, by: Person, **other: object) -> RoleTerm:
    stated = {"role": Role.INSPECTOR, "starts_on": FIRST, "ends_on": LAST, "reason": "Letter 12"} | other
    return grant_term(person=person, by=by, now=NOW, **stated)  # type: ignore[arg-type]


def _roles(person: Person) -> frozenset[Role]:
    return roles_of(Person.objects.get(pk=person.pk).user)  # type: ignore[arg-type]


@pytest.mark.parametrize(("day", "has_it"), [(-1, False), (0, True), (2, True), (3, False)])
def test_an_inspector_is_one_on_the_days_that_were_granted(
    registrar: Person, ruadh: Person, day: int, has_it: bool
) -> None:
    _granted(ruadh, registrar)
    with time_machine.travel(NOW + timedelta(days=day), tick=False):
        assert (Role.INSPECTOR in _roles(ruadh)) == has_it
        client = Client()
        client.force_login(ruadh.user)  # type: ignore[arg-type]
        assert client.get("/people").status_code == (200 if has_it else 403)


@pytest.mark.parametrize(("day", "shown"), [(-1, ()), (0, (Role.INSPECTOR,)), (3, ())])
def test_the_page_of_people_shows_an_inspector_as_one_on_the_granted_days(
    registrar: Person, ruadh: Person, settings: Any, day: int, shown: tuple[Role, ...]
) -> None:
    settings.SECOND_FACTOR_ROLES = [Role.INSPECTOR]
    _granted(ruadh, registrar)
    rows = everybody(today=FIRST + timedelta(days=day), locked_since=NOW)
    of_ruadh = next(row for row in rows if row.person == ruadh)
    assert (of_ruadh.roles, of_ruadh.needs_second) == (shown, bool(shown))


def test_an_inspection_ends_early_and_stays_written(registrar: Person, ruadh: Person) -> None:
    term = _granted(ruadh, registrar)
    with time_machine.travel(NOW, tick=False):
        end_term(term, by=registrar, now=NOW)
        assert _roles(ruadh) == set()
    kept = RoleTerm.objects.get()
    assert (kept.reason, kept.granted_by, kept.ended_by) == ("Letter 12", registrar, registrar)
    with pytest.raises(TermRefused, match="ended already"):
        end_term(term, by=registrar, now=NOW)


def test_the_database_lets_nobody_alter_or_delete_a_grant(registrar: Person, ruadh: Person) -> None:
    term = _granted(ruadh, registrar)
    with pytest.raises(IntegrityError), transaction.atomic():
        RoleTerm.objects.filter(pk=term.pk).update(ends_on=date(2030, 1, 1))
    with pytest.raises(IntegrityError), transaction.atomic():
        term.delete()


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"role": Role.CURATOR}, "is not given for some days"),
        ({"ends_on": date(2026, 10, 1)}, "is before the first"),
        ({"reason": "  "}, "Say why"),
    ],
)
def test_what_cannot_be_granted_says_why(
    registrar: Person, ruadh: Person, other: dict[str, object], said: str
) -> None:
    with pytest.raises(TermRefused, match=said):
        _granted(ruadh, registrar, **other)
    assert not RoleTerm.objects.exists()


def test_nobody_grants_to_themselves_and_only_registrar_and_administrator_grant(
    registrar: Person, ruadh: Person
) -> None:
    with pytest.raises(TermRefused, match="to themselves"):
        _granted(registrar, registrar)
    curator = make_person("Osric", roles=[Role.CURATOR])
    with pytest.raises(TermRefused, match="for the role registrar or administrator"):
        _granted(ruadh, curator)
    _granted(ruadh, make_person("Idony", roles=[Role.ADMINISTRATOR]))


def test_the_page_grants_and_ends(registrar: Person, ruadh: Person) -> None:
    with time_machine.travel(NOW, tick=False):
        client = Client()
        client.force_login(registrar.user)  # type: ignore[arg-type]
        sent = {"person": ruadh.pk, "starts_on": FIRST, "ends_on": LAST, "reason": "Letter 12"}
        assert client.post("/people/inspection", sent | {"reason": ""}).status_code == 200
        assert client.post("/people/inspection", sent).status_code == 302
        term = RoleTerm.objects.get()
        page = client.get("/people").text
        assert "Letter 12" in page
        assert "in force" in page
        client.post(f"/people/inspection/{term.pk}/end")
        assert "ended 6 October 2026" in client.get("/people").text
