"""The pages of returns in a real browser: a return from draft to sent, and pages for everybody's eyes."""

from datetime import timedelta
from typing import Any

import pytest
from axe_core_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from inventory.permits.actions.return_templates import save_template
from inventory.permits.actions.takes import correct_take
from inventory.permits.models import PermitReturn, ReturnTemplate

from ..permits.house import PermitHouse, a_take, make_permit_house
from ..permits.test_returns import amend, freeze

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
    page.locator("input[name=username]").fill(user.username)
    page.locator("input[name=password]").fill("a long enough word")
    page.locator("main button[type=submit]").click()
    page.wait_for_url(live_server.url + path)


def test_a_return_is_made_and_its_sending_noted_with_the_keyboard(
    page: Page, live_server: LiveServer, house: PermitHouse
) -> None:
    house.record(a_take("two-spotted goby", 4, died=1))
    _sign_in(page, live_server, house, f"/permit/{house.permit.pk}")
    page.get_by_role("link", name="Make the next return").press("Enter")
    page.get_by_role("button", name="Freeze with your name").press("Enter")
    page.wait_for_url("**/return/*")
    with page.expect_download() as told:
        page.get_by_role("link", name="return-test-1-1-v1.pdf").press("Enter")
    assert told.value.suggested_filename == "return-test-1-1-v1.pdf"
    page.get_by_label("Sent on").fill("2026-10-06")
    page.get_by_label("How").fill("by post")
    page.get_by_label("To whom").fill("The Board")
    page.get_by_role("button", name="It was sent").press("Enter")
    page.get_by_text("6 October 2026, by post, to The Board").wait_for()
    assert PermitReturn.objects.get().sendings.get().how == "by post"


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_pages_are_for_everybody(
    page: Page, live_server: LiveServer, house: PermitHouse, width: int, scheme: Any
) -> None:
    [goby, _] = house.record(a_take("two-spotted goby", 9, died=2), a_take("Asterias rubens", 1)).takes
    columns = "eventDate = Day\nnumberKept"
    board, officer = house.permit.authority, house.officer
    save_template(authority=board, name="Form", columns=columns, by=officer, now=house.now)
    one = freeze(house)
    later = house.now + timedelta(hours=1)
    correct_take(
        take=goby, entry=a_take("two-spotted goby", 8, died=3), why="a slip", by=house.officer, now=later,
        zone=house.zone,
    )  # fmt: skip
    two = amend(house, one, now=later + timedelta(hours=1))
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=scheme)
    pk, authority = house.permit.pk, house.permit.authority_id
    _sign_in(page, live_server, house, "/permits/returns")
    found: dict[str, Any] = {}
    for path in (
        *(
            "/permits/returns",
            f"/permit/{pk}",
            f"/permit/{pk}/return",
            f"/permit/{pk}/return?amends={two.pk}",
        ),
        *(
            f"/return/{one.pk}",
            f"/return/{two.pk}",
            f"/authority/{authority}",
            f"/authority/{authority}/form",
        ),
        f"/authority/{authority}/form/{ReturnTemplate.objects.get().pk}",
    ):
        page.goto(live_server.url + path)
        wrong = [violation["id"] for violation in Axe().run(page)["violations"]]
        wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        if wrong or wide:
            found[path] = (wrong, wide)
    assert found == {}
