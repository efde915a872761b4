"""Properties of permissions, over random roles and every address; ``tests/site/test_rights.py`` holds the
table of who may what."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, cast

import pytest
from django.db import connection, transaction
from django.http import FileResponse
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.people.rules.roles import Role
from tests import factories

from ..demo.conftest import DemoHouse, house
from ..site.addresses import Addresses, Route, routes

__all__ = ["house"]  # the demo house, built once for this module

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock"), pytest.mark.slow]

_WRITES = re.compile(
    r'\s*(?:INSERT\s+(?:OR\s+\w+\s+)?INTO|UPDATE|DELETE\s+FROM|REPLACE\s+INTO)\s+"?(\w+)', re.I
)
# What a request may always write: its session, and how often somebody knocked.
ALWAYS = {"django_session", "people_asked", "axes_accessattempt", "axes_accesslog", "axes_accessfailurelog"}
# What an inspector has of their own: a code for the tank side, and factors for the sign-in.
OWN = {"people_personcode", "people_codetries", "mfa_authenticator", "auth_user", "people_person"}
ROLES = st.sets(st.sampled_from([role for role in Role if role != Role.COUNTER]), max_size=4)


@contextmanager
def _written() -> Iterator[set[str]]:
    """The tables that are written to meanwhile."""
    tables: set[str] = set()

    def look(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        found = _WRITES.match(sql)
        if found:
            tables.add(found[1].lower())
        return execute(sql, params, many, context)

    with connection.execute_wrapper(look):
        yield tables


def _client(*roles: Role) -> Client:
    client = Client(raise_request_exception=False)
    client.force_login(factories.make_person(roles=list(roles), signs_in=True).user)  # type: ignore[arg-type]
    return client


def _status(client: Client, address: str) -> int:
    response = client.get(address)
    if response.streaming:
        cast(FileResponse, response).getvalue()
    return response.status_code


def _pages() -> list[Route]:
    return [route for route in routes() if not route.is_interface and route.name != "sign_out"]


def _addresses() -> Addresses:
    """Of a table that nobody has named there yet, row 1; that there is none is an answer too."""
    known = Addresses()
    known._values.setdefault("pk", 1)
    return known


def test_adding_a_role_never_takes_a_page_away(house: DemoHouse) -> None:
    """A counter is left out: who counts is kept from numbers, on purpose."""
    known = _addresses()
    pages = {route.pattern: known.of(route) for route in _pages()}

    @settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
    @given(few=ROLES, more=ROLES, pattern=st.sampled_from(sorted(pages)))
    def one(few: set[Role], more: set[Role], pattern: str) -> None:
        with transaction.atomic():
            if _status(_client(*few), pages[pattern]) == 200:
                assert _status(_client(*few, *more), pages[pattern]) == 200, pattern
            transaction.set_rollback(True)

    one()


def test_nobody_who_is_only_an_inspector_changes_a_row(house: DemoHouse) -> None:
    """Every address is sent a form; what the database is told is looked at, not what the page says."""
    known, client = _addresses(), _client(Role.INSPECTOR)
    changed = {}
    for route in _pages():
        with transaction.atomic(), _written() as tables:
            client.post(known.of(route), {"why": "x", "note": "x", "words": "x"})
            transaction.set_rollback(True)
        if left := tables - ALWAYS - OWN:
            changed[route.pattern] = left
    assert changed == {}


def test_looking_changes_nothing(house: DemoHouse) -> None:
    """GET is safe (RFC 9110, section 9.2.1), for somebody with every role."""
    known, client = _addresses(), _client(*Role)
    changed = {}
    for route in _pages():
        with transaction.atomic(), _written() as tables:
            _status(client, known.of(route))
            transaction.set_rollback(True)
        if left := tables - ALWAYS:
            changed[route.pattern] = left
    assert changed == {}
