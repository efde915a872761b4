"""Requests that no browser sends: methods that nobody needs, and parameters that stand twice."""

import pytest
from django.test import Client

from inventory.people.rules.roles import Role
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


@pytest.mark.parametrize("method", ["TRACE", "PROPFIND", "CONNECT"])
def test_a_method_that_nobody_needs_is_not_answered(method: str) -> None:
    answer = Client().generic(method, "/sign-in", headers={"X-Told": "a secret"})
    assert b"a secret" not in answer.content
    assert answer.status_code in (400, 405, 302)


def test_a_parameter_that_stands_twice_breaks_nothing() -> None:
    client = Client()
    client.force_login(factories.make_person(roles=list(Role)).user)  # type: ignore[arg-type]
    for address in (
        "/lots?text=a&text=b&sort=x&sort=-held",
        "/change?by=lot&by=taxon",
        "/places?page=1&page=-1",
    ):
        assert client.get(address).status_code in (200, 302, 400, 404)
