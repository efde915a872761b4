"""What the house itself promises: health, policy, vendored files, and who is let in where."""

import hashlib
import re
from collections.abc import Callable
from pathlib import Path
from uuid import UUID

import pytest
from django.db import connection
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver

from inventory.db import triggers
from inventory.people.rules.roles import Role
from inventory.tankside.rules.pages import PAGES

from .conftest import SmallHouse

SITE = Path(__file__).parent.parent.parent / "inventory" / "site"
# SHA-256 of the file as @picocss/pico 2.1.1 on the npm registry has it (css/pico.classless.min.css).
PICO = "61207a40ffc02a42d1e50143651c121beab70ed413c934c1ff84fa263ba436b0"
# SHA-256 of the file as idb 8.0.4 on the npm registry has it (build/index.js).
IDB = "e01b45d2e088a7197e8b41ba9b51a0876969da67cc08e6efbc3d5d7ab6ac836c"
# Pages that a device keeps: the same for everybody, and empty of the book; tests/tankside/test_app.py.
TANK_SIDE = (*(page.path for page in PAGES), "tank/sw.js", "tank/manifest.webmanifest")
# How the interface is spoken to, for whoever builds a sensor; nothing of the house is in it.
DESCRIPTION = "api/v1/openapi.json"
# For programs that cannot sign in: the address is the secret. tests/permits/test_notices_reminders.py.
CALENDAR = "calendar/<str:token>.ics"


def test_the_vendored_sheet_is_the_one_that_was_published() -> None:
    folder = SITE / "static" / "vendor" / "pico-2.1.1"
    assert hashlib.sha256((folder / "pico.classless.min.css").read_bytes()).hexdigest() == PICO
    assert "MIT License" in (folder / "LICENSE.md").read_text()


def test_the_vendored_reader_of_indexeddb_is_the_one_that_was_published() -> None:
    folder = SITE / "static" / "vendor" / "idb-8.0.4"
    assert hashlib.sha256((folder / "index.js").read_bytes()).hexdigest() == IDB
    assert "ISC License" in (folder / "LICENSE").read_text()


def test_health_is_told_without_a_sign_in(db: None, client: Client) -> None:
    response = client.get("/health")
    assert (response.status_code, response.text) == (200, "ok\n")
    assert response.headers["Content-Type"].startswith("text/plain")


def test_health_names_a_trigger_that_is_gone(db: None, client: Client) -> None:
    triggers.remove(connection, ["book_flow_no_delete"])
    response = client.get("/health")
    assert (response.status_code, response.text) == (503, "trigger book_flow_no_delete is missing\n")


def test_nobody_reads_anything_without_signing_in(small_house: SmallHouse, client: Client) -> None:
    """Every address of every room: a visitor gets the sign-in, health, the tank side's empty pages and the
    description of the interface; the interface itself wants a token or a code, a calendar its address."""
    for route in _routes(get_resolver().url_patterns):
        response = client.get(_filled(route))
        if response.status_code == 405 and route != "sign-out":
            response = client.post(_filled(route))
        if route in ("health", "ready", "metrics", "sign-in", *TANK_SIDE):
            assert response.status_code == 200, route
        elif route == DESCRIPTION:
            assert response.status_code == 200
            assert "/api/v1/entries" in response.json()["paths"]
            for known in ("Skerry Aquarium", "Quarantine fish", "Thole", "Labrus", "The registrar"):
                assert known not in response.text
        elif route == "api/v1/":
            assert response.status_code == 404
        elif route == "api/v1/devices/enrol":
            # Where a device without a token asks for one; with nothing in hand it is not even read.
            assert (response.status_code, response.json()["reason"]) == (422, "unreadable")
        elif route.startswith("api/"):
            assert response.status_code == 401, route
        elif route == CALENDAR:
            assert response.status_code == 404
        elif route == "sign-out":
            assert response.status_code == 405
        else:
            assert response.status_code == 302, route
            assert response.headers["Location"].startswith("/sign-in?next="), route


def test_pages_carry_the_policy_and_nothing_inline(
    small_house: SmallHouse, as_role: Callable[[Role], Client]
) -> None:
    client = as_role(Role.REGISTRAR)
    death = small_house.death.pk
    for url in ("/", "/lots", "/places", "/place/E02", "/lot/A1", "/record/died/A1", f"/event/{death}"):
        response = client.get(url)
        assert "default-src 'self'" in response.headers["Content-Security-Policy"]
        assert not re.search(r"<script|<style|\sstyle=|\son[a-z]+=", response.text), url


def test_a_refused_page_says_which_role_is_needed(
    small_house: SmallHouse, as_role: Callable[[Role], Client]
) -> None:
    response = as_role(Role.COUNTER).get("/record/died/A1")
    assert response.status_code == 403
    assert "This page is for the role" in response.text
    assert "You are signed in as counter." in response.text


def test_an_error_page_stands_without_the_database() -> None:
    text = (SITE / "templates" / "500.html").read_text()
    assert "extends" not in text
    assert "site_head" not in text


@pytest.mark.parametrize("role", list(Role))
def test_every_role_has_a_first_page(
    small_house: SmallHouse, as_role: Callable[[Role], Client], role: Role
) -> None:
    page = as_role(role).get("/").text
    assert f"<strong>The {role.words}</strong>, {role.words}" in page


@pytest.mark.parametrize("role", list(Role))
def test_the_navigation_leads_nowhere_that_is_closed_to_the_role(
    small_house: SmallHouse, as_role: Callable[[Role], Client], role: Role
) -> None:
    client = as_role(role)
    head = client.get("/").text.split("<main")[0]
    pages = re.findall(r'<li><a href="([^"]+)"', head)
    assert "/lots" in pages
    assert {url: client.get(url).status_code for url in pages} == dict.fromkeys(pages, 200)


def _routes(patterns: list[URLPattern | URLResolver], prefix: str = "") -> list[str]:
    routes = []
    for pattern in patterns:
        if isinstance(pattern, URLResolver):
            routes += _routes(pattern.url_patterns, prefix + str(pattern.pattern))
        else:
            routes.append(prefix + str(pattern.pattern))
    return routes


def _filled(route: str) -> str:
    """An address of the route: numbers are 1, identifiers are zeros, words are A1."""
    for converter, value in (("int:", "1"), ("uuid:", str(UUID(int=0))), ("", "A1")):
        route = re.sub(f"<{converter}[^>]*>", value, route)
    return f"/{route}"
