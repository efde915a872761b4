"""Who may open a page, and what the others are told."""

from collections.abc import Callable
from datetime import date
from importlib import import_module

import pytest
from django.contrib.auth.models import AnonymousUser, Group
from django.contrib.sessions.backends.db import SessionStore
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.test import Client, RequestFactory

from inventory.people.access import requires
from inventory.people.models import Person
from inventory.people.queries import NotAPersonError, person_of, roles_of
from inventory.people.rules.roles import Role, in_words

from ..factories import make_house, make_person

Open = Callable[..., HttpResponseBase]


@pytest.fixture
def open_page(rf: RequestFactory) -> Open:
    """Opens a page that needs ``roles`` as ``person`` (nobody: not signed in)."""

    def opened(person: Person | None, *roles: Role) -> HttpResponseBase:
        @requires(*roles)
        def page(request: HttpRequest) -> HttpResponse:
            return HttpResponse("inside")

        request = rf.get("/somewhere?x=1")
        request.user = person.user if person and person.user else AnonymousUser()
        request.session = SessionStore()
        return page(request)

    return opened


def test_every_role_is_a_group_made_by_the_migration(db: None) -> None:
    assert set(Group.objects.values_list("name", flat=True)) == {role.value for role in Role}


def test_the_migration_and_the_list_of_roles_agree() -> None:
    migration = import_module("inventory.people.migrations.0002_roles")
    assert set(migration.ROLES) == {role.value for role in Role}


def test_a_visitor_goes_to_the_sign_in_page_and_comes_back(open_page: Open) -> None:
    response = open_page(None)
    assert response.status_code == 302
    assert response.headers["Location"] == "/sign-in?next=/somewhere%3Fx%3D1"


def test_somebody_with_one_of_the_roles_is_let_in(db: None, open_page: Open) -> None:
    person = make_person(roles=[Role.CURATOR])
    assert open_page(person, Role.REGISTRAR, Role.CURATOR).status_code == 200


def test_somebody_without_the_role_is_told_which_is_needed(db: None, open_page: Open) -> None:
    person = make_person(roles=[Role.AQUARIST, Role.COUNTER])
    with pytest.raises(PermissionDenied) as refused:
        open_page(person, Role.PERMIT_OFFICER, Role.REGISTRAR)
    assert str(refused.value) == (
        "This page is for the role registrar or permit officer. You are signed in as counter and aquarist."
    )


def test_the_administrator_does_not_pass_by_being_administrator(db: None, open_page: Open) -> None:
    with pytest.raises(PermissionDenied):
        open_page(make_person(roles=[Role.ADMINISTRATOR]), Role.REGISTRAR)


def test_a_person_who_has_left_is_refused_from_that_day_on(
    db: None, open_page: Open, frozen_clock: object
) -> None:
    gone = make_person(roles=[Role.AQUARIST], left_on=date(2026, 10, 6))
    going = make_person(roles=[Role.AQUARIST], left_on=date(2026, 10, 7))
    with pytest.raises(PermissionDenied, match="left the house on 2026-10-06"):
        open_page(gone)
    assert open_page(going).status_code == 200


def test_a_sign_in_without_a_person_is_refused(db: None, rf: RequestFactory, django_user_model: type) -> None:
    request = rf.get("/")
    request.user = django_user_model.objects.create_user("nobody")  # type: ignore[attr-defined]
    with pytest.raises(PermissionDenied, match="nobody"):
        requires()(lambda request: HttpResponse())(request)
    with pytest.raises(NotAPersonError):
        person_of(request.user)


def test_person_and_roles_are_read_once_for_each_request(
    db: None, django_assert_num_queries: Callable[[int], object]
) -> None:
    user = make_person("Jory", roles=[Role.AQUARIST]).user
    assert user is not None
    user = type(user).objects.get(pk=user.pk)
    user.groups.add(Group.objects.create(name="no role of ours"))
    with django_assert_num_queries(2):  # type: ignore[attr-defined]
        for _ in range(3):
            assert person_of(user).name == "Jory"
            assert roles_of(user) == {Role.AQUARIST}


def test_an_inactive_sign_in_counts_as_nobody(db: None, client: Client) -> None:
    make_house()
    person = make_person(roles=[Role.AQUARIST])
    assert person.user is not None
    client.force_login(person.user)
    assert client.get("/").status_code == 200
    person.user.is_active = False
    person.user.save()
    assert client.get("/").headers["Location"] == "/sign-in?next=/"


def test_signing_in_shows_today_and_signing_out_ends_it(db: None, client: Client) -> None:
    make_house(name="Skerry Aquarium")
    person = make_person("Jory Penhalloway", roles=[Role.AQUARIST], password="wet hands, no signal")
    assert person.user is not None
    page = client.post(
        "/sign-in", {"username": person.user.username, "password": "wet hands, no signal"}, follow=True
    )
    assert "Jory Penhalloway" in page.text
    assert "Skerry Aquarium" in page.text
    client.post("/sign-out")
    assert client.get("/").status_code == 302


@pytest.mark.parametrize(
    ("left_on", "password", "said"),
    [
        (date(2025, 8, 31), "wet hands, no signal", "This sign-in is closed"),
        (None, "wrong", "do not belong together"),
    ],
)
def test_the_sign_in_page_says_why_it_refuses(
    db: None, client: Client, left_on: date | None, password: str, said: str
) -> None:
    person = make_person(roles=[Role.AQUARIST], password="wet hands, no signal", left_on=left_on)
    assert person.user is not None
    page = client.post("/sign-in", {"username": person.user.username, "password": password})
    assert said in page.text
    assert "_auth_user_id" not in client.session


def test_signing_in_never_leads_to_another_site(db: None, client: Client) -> None:
    make_house()
    person = make_person(roles=[Role.AQUARIST], password="wet hands, no signal")
    assert person.user is not None
    response = client.post(
        "/sign-in?next=https://elsewhere.example/",
        {
            "username": person.user.username,
            "password": "wet hands, no signal",
            "next": "https://elsewhere.example/",
        },
    )
    assert response.headers["Location"] == "/"


def test_roles_in_words() -> None:
    assert in_words([], joined="or") == ""
    assert in_words([Role.COUNTER], joined="or") == "counter"
    assert (
        in_words([Role.CURATOR, Role.COUNTER, Role.AQUARIST], joined="or") == "counter, aquarist or curator"
    )
