"""inventory/site/rights.md says who may open and who may change what; here every address is asked.

The demo house is asked with GET and with an empty POST, signed out, as each role, and with the token of a
device and of a sensor. Pages and workbooks are not drawn (that costs the time and is tested elsewhere):
whether somebody is let in is decided before. What a page then refuses about one row is held by the tests of
its room.
"""

import copy
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock
from uuid import UUID

import pytest
import time_machine
from django.core.signals import request_finished
from django.db import close_old_connections, transaction
from django.test import Client
from django.test.client import MULTIPART_CONTENT
from pytest_django import DjangoDbBlocker

from inventory.people.actions import devices
from inventory.people.models import DeviceScope
from inventory.people.rules.roles import Role

from .. import factories
from ..demo.conftest import DemoHouse, house
from .addresses import Addresses, Route, routes

__all__ = ["house"]  # the demo house, built once for this module

TABLE = Path(__file__).parents[2] / "inventory" / "site" / "rights.md"
# As the columns of the table are called.
WHO = ("signed out", *(role.words for role in Role), "device", "sensor")
REFUSED = (401, 403, 405, 429)
# What the interface is sent, for it reads a request before it asks whose it is.
BODIES: dict[str, dict[str, object]] = {
    "api/v1/persons/check": {"person": 0, "code": "0000"},
    "api/v1/count-sheets": {"person": 0, "pass": "none"},
    "api/v1/counts": {"sent_at": "2026-10-06T09:00:00Z", "entries": [{"identifier": str(UUID(int=0))}]},
}

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


@pytest.fixture(scope="module")
def clients(house: DemoHouse, django_db_blocker: DjangoDbBlocker) -> dict[str, Client]:
    """One client for each column."""
    with django_db_blocker.unblock(), time_machine.travel(house.now, tick=False):
        return _clients(house)


def _clients(house: DemoHouse) -> dict[str, Client]:
    found = {"signed out": Client()}
    for role in Role:
        person = factories.make_person(f"The {role.words}", roles=[role])
        assert person.user is not None
        found[role.words] = Client()
        found[role.words].force_login(person.user)
    by = factories.make_person("Who lets devices in", roles=[Role.REGISTRAR])
    for name, scope in (("device", DeviceScope.TANKSIDE), ("sensor", DeviceScope.READINGS)):
        device = devices.make_device(name=f"The {name}", scope=scope, by=by, now=house.now)
        if scope == DeviceScope.READINGS:
            token = devices.give_token(device, by=by, now=house.now).token
        else:
            code = devices.offer_code(device, by=by, now=house.now)
            token = devices.enrol(code=code, now=house.now).token
        found[name] = Client(headers={"Authorization": f"Bearer {token}"})
    return found


@pytest.fixture
def undrawn() -> Iterator[None]:
    """Templates and the workbook give nothing: who is let in is known without drawing the page."""
    with (
        mock.patch("django.template.backends.django.Template.render", return_value=""),
        mock.patch("census.change.views.write_workbook"),
    ):
        yield


@pytest.mark.parametrize("letter", sorted({*"abcdefghijklmnopqrstuvwxyz", ""}))
def test_every_address_lets_in_whom_the_table_names(
    letter: str, clients: dict[str, Client], undrawn: None
) -> None:
    """By the first letter of the address, so that several processes share the work."""
    addresses = Addresses()
    asked = [route for route in routes() if route.pattern[:1] == letter]
    found = {route.pattern: _rights(route, addresses.of(route), clients) for route in asked}
    assert found == {pattern: row for pattern, row in _table().items() if pattern[:1] == letter}


def test_every_address_begins_with_a_letter_and_so_is_asked_for() -> None:
    for pattern in (*_table(), *(route.pattern for route in routes())):
        assert not pattern or "a" <= pattern[0] <= "z", pattern


def test_the_table_names_nobody_whom_a_page_does_not_declare() -> None:
    """Nobody opens or acts whom the declaration (``requires``) does not name."""
    table = _table()
    for route in routes():
        needs = getattr(route.view, "needs", None)
        if needs is None:
            continue
        allowed = needs or frozenset(Role)
        opens = {who for who, rights in table[route.pattern].items() if "o" in rights}
        acts = {who for who, rights in table[route.pattern].items() if "a" in rights}
        # One row may be for fewer than its page: a slip of one's own, a paper with exact places.
        assert opens <= {role.words for role in allowed}, route.pattern
        assert acts <= {role.words for role in route.view.writes or frozenset(Role)}, route.pattern


def test_an_inspector_changes_nothing() -> None:
    """Trade/census procedure, common practice: an inspector reads everything and runs a sample test."""
    acts = {pattern for pattern, row in _table().items() if "a" in row["inspector"]}
    assert acts == MAY_BE_SENT_BY_AN_INSPECTOR


# The own code, the own sign-in, printing labels and reports, a question about a name that is not kept, and
# the sample test and the findings, which are an inspector's own.
MAY_BE_SENT_BY_AN_INSPECTOR = {
    "sign-in", "sign-in/second", "sign-out", "my-code", "my-sign-in/password", "my-sign-in/everywhere",
    "my-sign-in/app", "my-sign-in/passkey", "my-sign-in/factor/<int:pk>/remove", "my-sign-in/recovery-codes",
    "labels", "names/check", "came-back", "reports/<slug:layout>/make", "inspection/step",
    "census/<str:code>/checks", "api/v1/devices/enrol", "api/v1/openapi.json", "api/v1/",
}  # fmt: skip


def _table() -> dict[str, dict[str, str]]:
    """The table of rights: for each address what each may: "o" opens, "a" acts."""
    rows = [
        [cell.strip() for cell in line.strip().strip("|").split("|")]
        for line in TABLE.read_text(encoding="utf-8").splitlines()
        if line.startswith("| `")
    ]
    table: dict[str, dict[str, str]] = {}
    for address, *rights, _ in rows:
        pattern = address.strip("`").removeprefix("/")
        assert pattern not in table, f"{pattern} stands twice in the table"
        table[pattern] = {who: right.replace("·", "") for who, right in zip(WHO, rights, strict=True)}
    return table


def _rights(route: Route, address: str, clients: dict[str, Client]) -> dict[str, str]:
    return {who: _of_one(route, address, client) for who, client in clients.items()}


def _of_one(route: Route, address: str, client: Client) -> str:
    cookies = copy.deepcopy(client.cookies)
    rights = ""
    for method, letter in (("get", "o"), ("post", "a")):
        # What an empty form might write is taken back, a sign-out too.
        with transaction.atomic():
            body = BODIES.get(route.pattern, {}) if route.is_interface else {}
            kind = "application/json" if body else MULTIPART_CONTENT
            response = (
                client.get(address) if method == "get" else client.post(address, body, content_type=kind)
            )
            if response.streaming:
                _close(response)
            transaction.set_rollback(True)
        client.cookies = copy.deepcopy(cookies)
        if not _is_refused(response):
            rights += letter
    return rights


def _close(response: Any) -> None:
    """Unread, for a whole book takes long; but the end of a request must not close the tests' connection,
    which Django's client sees to only for who reads to the end."""
    request_finished.disconnect(close_old_connections)
    try:
        response.close()
    finally:
        request_finished.connect(close_old_connections)


def _is_refused(response: Any) -> bool:
    to_sign_in = response.status_code == 302 and response.headers["Location"].startswith("/sign-in?next=")
    if response.status_code == 403 and response.headers["Content-Type"].startswith("application/json"):
        # A wrong code is an answer to who may ask.
        return bool(response.json()["reason"] == "scope") if "reason" in response.json() else False
    return bool(to_sign_in or response.status_code in REFUSED)
