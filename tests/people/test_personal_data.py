"""What is held about a person can be given to them and taken out again, and the book stays whole."""

import json
from datetime import date
from io import StringIO
from pathlib import Path

import openpyxl
import pytest
from django.contrib.sessions.models import Session
from django.core.management import CommandError, call_command
from django.test import Client

from inventory.book.actions.close import close_period
from inventory.book.models import Event
from inventory.book.queries.heads import against, head_of_chain
from inventory.book.queries.verification import verify
from inventory.people.actions.codes import set_code
from inventory.people.models import Erasure, Person, PersonCode
from inventory.people.queries.personal_data import mentions, personal_data
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]

NAME = "Eydís Å. Brattavoll"


@pytest.fixture
def registrar() -> Person:
    """Who erases."""
    person = factories.make_person("Runa", roles=["registrar"])
    factories.make_house(registrar=person)
    return person


@pytest.fixture
def leaver(registrar: Person) -> Person:
    """Somebody who entered events, is named in a note, closed a period, had a code, and has left."""
    person = factories.make_person(
        NAME, roles=["aquarist", "curator"], password="x" * 14, initials="EB", left_on=date(2026, 10, 1)
    )
    assert person.user is not None
    person.user.email = "eydis@example.org"
    person.user.save()
    lot, place = factories.make_lot("A1"), factories.make_place("E02")
    factories.make_event("received", lot=lot, place=place, unknown=5, entered_by=person)
    factories.make_event("died", lot=lot, place=place, entered_by=person, note=f"seen by {NAME} too")
    set_code(person, "4071", by=person, now=factories.NOW)
    closed = {"closed_at": factories.NOW, "signed_by": person, "zone": factories.NOW.tzinfo}
    close_period(factories.make_period(), **closed)  # type: ignore[arg-type]
    return person


def _erase(name: str = NAME, by: str = "Runa", reason: str = "asked by letter of 2 October") -> str:
    out = StringIO()
    call_command("person", "erase", name, "--by", by, "--reason", reason, stdout=out, stderr=out)
    return out.getvalue()


def test_all_that_is_held_is_given_without_hashes_and_secrets(leaver: Person, tmp_path: Path) -> None:
    out = StringIO()
    call_command("person", "export", NAME, stdout=out)
    told = json.loads(out.getvalue())
    assert told["person"] == NAME
    tables = told["tables"]
    assert tables["people_person"][0]["initials"] == "EB"
    assert tables["auth_user"][0]["email"] == "eydis@example.org"
    assert len(tables["book_event"]) == 2
    assert {"table": "book_event", "column": "note", "rows": 1} in told["named_in"]
    assert leaver.user is not None
    for secret in (leaver.user.password, PersonCode.objects.get().code_hash, Event.objects.all()[0].hash):
        assert secret not in out.getvalue()


def test_the_same_as_a_workbook(leaver: Person, tmp_path: Path) -> None:
    to = tmp_path / "held.xlsx"
    call_command("person", "export", NAME, "--out", str(to), stderr=StringIO())
    book = openpyxl.load_workbook(to)
    assert NAME in [cell.value for cell in book["people_person"][2]]
    assert book["book_event"].max_row == 3
    with pytest.raises(CommandError, match=r"\.json or \.xlsx"):
        call_command("person", "export", NAME, "--out", "held.pdf")


def test_after_an_erasure_the_book_verifies_and_the_head_is_the_same(leaver: Person) -> None:
    head = head_of_chain()
    said = _erase()
    erased = Person.objects.get(pk=leaver.pk)
    assert (erased.name, erased.initials) == (f"Former person {leaver.pk}", "")
    assert verify(factories.NOW.tzinfo).findings == []  # type: ignore[arg-type]
    assert against(head) == ""
    assert head_of_chain() == head
    assert Event.objects.filter(entered_by=erased).count() == 2
    assert Erasure.objects.get().reason == "asked by letter of 2 October"
    # The note was written by hand and is covered by the chain: it is told, and not changed.
    assert "book_event" in said
    assert "note" in said


def test_name_address_code_and_sign_in_are_gone(leaver: Person) -> None:
    client = Client()
    assert leaver.user is not None
    client.force_login(leaver.user)
    call_command("person", "export", NAME, stdout=StringIO())
    _erase()
    assert Session.objects.count() == 0
    assert not PersonCode.objects.exists()
    user = Person.objects.get(pk=leaver.pk).user
    assert user is not None
    assert (user.email, user.is_active, user.has_usable_password()) == ("", False, False)
    assert not user.groups.exists()
    left = {(one.table, one.column) for one in mentions([NAME, "eydis@example.org", leaver.user.username])}
    assert left == {("book_event", "note")}


def test_nothing_of_another_person_changes(leaver: Person) -> None:
    other = factories.make_person("Torger", roles=["aquarist"], signs_in=True)
    set_code(other, "9183", by=other, now=factories.NOW)
    before = personal_data(other)
    _erase()
    assert personal_data(Person.objects.get(pk=other.pk)) == before


@pytest.mark.parametrize(
    ("name", "by", "reason", "message"),
    [
        (NAME, NAME, "x", "Nobody erases themselves"),
        (NAME, "Torger", "x", "may not erase anybody"),
        (NAME, "Runa", " ", "Say why"),
        (NAME, "Runa", "x" * 301, "Say why"),
        ("Torger", "Runa", "x", "has not left the house"),
        ("Nobody", "Runa", "x", "nobody here is called"),
    ],
)
def test_an_erasure_that_may_not_be_changes_nothing(
    leaver: Person, name: str, by: str, reason: str, message: str
) -> None:
    factories.make_person("Torger", roles=["aquarist"])
    with pytest.raises(CommandError, match=message):
        _erase(name, by, reason)
    assert not Erasure.objects.exists()
    assert Person.objects.filter(name=NAME).exists()


def test_the_houses_registrar_is_not_erased(leaver: Person) -> None:
    Person.objects.filter(name="Runa").update(left_on=date(2026, 9, 1))
    factories.make_person("Tove", roles=["administrator"])
    with pytest.raises(CommandError, match="is the house's registrar"):
        _erase("Runa", "Tove")


def test_nobody_is_erased_twice(leaver: Person) -> None:
    _erase()
    with pytest.raises(CommandError, match="was erased before"):
        _erase(f"Former person {leaver.pk}")


def test_a_name_without_quotation_marks_is_asked_for_with_them() -> None:
    with pytest.raises(CommandError, match='"Ines Marlow"'):
        call_command("person", "Ines", "Marlow")
