"""A house sets itself up without the demo: people, sign-ins, roles, the house itself."""

import io
from datetime import date

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.urls import reverse

from inventory.people.management.commands import person as person_command
from inventory.people.models import House, Person
from inventory.people.queries import roles_of
from inventory.people.rules.roles import Role

pytestmark = pytest.mark.django_db

PASSWORD = "a long tide table"


def _person(*words: str, password: str = PASSWORD, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
    call_command("person", *words, "--password-stdin")


def test_a_person_with_a_sign_in_can_open_the_house(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    _person("Ines Marlow", "--sign-in=ines", "--role=registrar", "--role=typist", monkeypatch=monkeypatch)
    person = Person.objects.get(name="Ines Marlow")
    assert person.user is not None
    assert roles_of(person.user) == {Role.REGISTRAR, Role.TYPIST}
    answer = client.post(reverse("sign_in"), {"username": "ines", "password": PASSWORD}, follow=True)
    assert answer.status_code == 200
    assert "Ines Marlow" in answer.content.decode()


def test_what_is_not_said_of_a_person_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    _person("Ines Marlow", "--sign-in=ines", "--role=registrar", monkeypatch=monkeypatch)
    call_command("person", "Ines Marlow", "--left-on=2026-10-01")
    person = Person.objects.get(name="Ines Marlow")
    assert person.left_on == date(2026, 10, 1)
    assert person.user is not None
    assert person.user.username == "ines"
    assert person.user.groups.get().name == Role.REGISTRAR
    assert roles_of(person.user) == set(), "who has left may nothing"
    assert person.user.check_password(PASSWORD)


def test_roles_that_are_given_replace_those_before(monkeypatch: pytest.MonkeyPatch) -> None:
    _person("Ines Marlow", "--sign-in=ines", "--role=registrar", monkeypatch=monkeypatch)
    call_command("person", "Ines Marlow", "--role=curator")
    user = Person.objects.get(name="Ines Marlow").user
    assert user is not None
    assert roles_of(user) == {Role.CURATOR}


@pytest.mark.parametrize(
    ("words", "password", "message"),
    [
        (["--sign-in=ines"], "short", "too short"),
        (["--sign-in=taken"], PASSWORD, "in use by somebody else"),
        (["--role=curator"], "", "cannot sign in yet"),
        ([], PASSWORD, "has no sign-in"),
        (["--sign-in=ines"], "", "needs a password"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_changed(
    words: list[str], password: str, message: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    _person("Other Person", "--sign-in=taken", monkeypatch=monkeypatch)
    with pytest.raises(CommandError, match=message):
        _person("Ines Marlow", *words, password=password, monkeypatch=monkeypatch)
    assert not Person.objects.filter(name="Ines Marlow").exists()


def test_the_password_is_asked_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    answers = iter([PASSWORD, "another long table"])
    monkeypatch.setattr(person_command, "getpass", lambda _: next(answers))
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    with pytest.raises(CommandError, match="not the same"):
        call_command("person", "Ines Marlow", "--sign-in=ines")
    assert not Person.objects.exists()


def test_where_nobody_sits_at_a_terminal_it_says_how_a_password_is_given(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    with pytest.raises(CommandError, match="say --password-stdin") as refused:
        call_command("person", "Ines Marlow", "--sign-in=ines")
    assert refused.value.returncode == 2
    assert not Person.objects.exists()


def test_the_house_has_a_registrar_who_is_there() -> None:
    with pytest.raises(CommandError, match="add the person first"):
        call_command("house", "North Quay Aquarium", "--registrar=Ines Marlow")
    assert not House.objects.exists()
    call_command("person", "Ines Marlow")
    call_command("house", "North Quay Aquarium", "--registrar=Ines Marlow", "--licence=NQ-1")
    call_command("house", "North Quay Sea Hall")
    house = House.objects.get()
    assert (house.name, house.licence_number) == ("North Quay Sea Hall", "NQ-1")
    assert house.registrar == Person.objects.get()
