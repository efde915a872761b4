"""The pages of permits in a real browser: a slip typed at the desk, and pages for everybody's eyes."""

from typing import Any

import pytest
from axe_core_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from inventory.book.rules.happened import parse_happened
from inventory.permits.actions.sightings import record_sighting
from inventory.permits.models import Take

from ..permits.house import PermitHouse, a_take, make_permit_house

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("frozen_clock"),
]


@pytest.fixture
def house(transactional_db: None) -> PermitHouse:
    """The small house of the permits' own tests, whose officer signs in by a password."""
    made = make_permit_house()
    user = made.officer.user
    assert user is not None
    user.set_password("a long enough word")
    user.save()
    return made


def _sign_in(page: Page, live_server: LiveServer, house: PermitHouse, path: str) -> None:
    user = house.officer.user
    assert user is not None
    page.goto(live_server.url + path)
    page.get_by_label("Sign-in").or_(page.locator("input[name=username]")).first.fill(user.username)
    page.locator("input[name=password]").fill("a long enough word")
    page.locator("main button[type=submit]").click()
    page.wait_for_url(live_server.url + path)


def test_a_slip_is_typed_with_the_keyboard_alone(
    page: Page, live_server: LiveServer, house: PermitHouse
) -> None:
    _sign_in(page, live_server, house, f"/permit/{house.permit.pk}/trip")
    page.get_by_label("Day", exact=False).first.fill("2026-09-01")
    page.get_by_label("The skipper").check()
    page.get_by_label("Gear", exact=False).first.fill("hand net")
    page.get_by_label("Name as written, row 1").focus()
    page.keyboard.type("two-spotted goby")
    for written in ("3", "0", "1", "2", "Q2"):
        page.keyboard.press("Tab")
        page.keyboard.type(written)
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("**/trip/*-*")
    take = Take.objects.get()
    assert (take.caught, take.died, take.kept) == (3, 1, 2)
    assert page.get_by_role("cell", name="Pomatoschistus flavescens").is_visible()


@pytest.mark.parametrize("width", [1280, 360])
def test_the_pages_are_for_everybody(
    page: Page, live_server: LiveServer, house: PermitHouse, width: int
) -> None:
    recorded = house.record(a_take("two-spotted goby", 9, died=2), a_take("Asterias rubens", 1))
    page.set_viewport_size({"width": width, "height": 800})
    pk, take = house.permit.pk, recorded.takes[0].pk
    lot = recorded.takes[0].lot
    assert lot
    record_sighting(
        cell=lot.cells.get(inside=True),
        permit=house.permit,
        mark="left fin clipped",
        happened=parse_happened("2026-09-02"),
        by=house.officer,
        now=house.now,
        zone=house.zone,
    )
    _sign_in(page, live_server, house, "/permits")
    found: dict[str, Any] = {}
    for path in (
        *("/permits", f"/permit/{pk}", f"/permit/{pk}/amend", f"/permit/{pk}/line/1", f"/permit/{pk}/trip"),
        *(f"/trip/{recorded.trip.identifier}", f"/take/{take}/correct", f"/take/{take}/move"),
        *("/permits/cases", f"/permits/case/{recorded.cases[0].pk}", "/loans", "/loans/new"),
        f"/lot-sources/{lot.accession}",
    ):
        page.goto(live_server.url + path)
        wrong = [violation["id"] for violation in Axe().run(page)["violations"]]
        wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        if wrong or wide:
            found[path] = (wrong, wide)
    assert found == {}
