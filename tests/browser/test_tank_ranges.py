"""Eggs and young at the tank: "not sure, from ... to ..." beside the number, without signal like all else."""

import pytest
from axe_core_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Page, ViewportSize, expect

from inventory.book.models import StatedRange
from inventory.people.rules.roles import Role
from inventory.tankside.models import Entry

from ..factories import make_event, make_house, make_lot, make_person, make_place
from .tank_side import TankSide, all_sent, open_tank, phone_without_worker, process, rows, tank_side

pytestmark = pytest.mark.browser
__all__ = ["phone_without_worker", "process", "tank_side"]

# 15 mm at 96 dpi, what a wet finger needs.
FINGER = 57
TABLET: ViewportSize = {"width": 820, "height": 1180}
PASSWORD = "wet hands, no signal"
NOT_SURE = "Not sure: from … to …"


def _hatched(page: Page, n: int) -> None:
    page.get_by_role("button", name="two-spotted goby").click()
    page.get_by_role("button", name=str(n), exact=True).click()
    page.get_by_role("button", name="Hatched").click()


def test_a_hatch_from_and_to_is_kept_without_signal_and_reaches_the_book(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.context.set_offline(True)
    _hatched(page, 20)
    page.get_by_text(NOT_SURE).click()
    page.get_by_label("From, at least").fill("15")
    page.get_by_label("To, at most").fill("18")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_have_text(
        "At most 18 is less than your number, 20: correct one of them."
    )
    page.get_by_label("To, at most").fill("30")
    page.get_by_label("To, at most").blur()
    told = "about 20, between 15 and 30, hatched, two-spotted goby, Kelp Hall"
    expect(page.get_by_role("heading", level=1)).to_have_text(told)
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_contain_text("Saved on this device.")
    page.context.set_offline(False)
    all_sent(page)
    (row,) = rows(page)
    assert row["answer"]["words"].startswith(told)
    assert StatedRange.objects.values_list("low", "high").get() == (15, 30)


def test_the_usual_hatch_takes_no_tap_more_and_says_no_range(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    _hatched(page, 20)
    expect(page.get_by_label("From, at least")).to_be_hidden()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    assert not {"at_least", "at_most"} & Entry.objects.get().body.keys()
    assert not StatedRange.objects.exists()


@pytest.mark.parametrize("size", [{"width": 360, "height": 640}, TABLET])
def test_the_two_fields_are_large_enough_and_pass_an_axe_check(
    phone_without_worker: Page, tank_side: TankSide, size: ViewportSize
) -> None:
    page = phone_without_worker
    page.set_viewport_size(size)
    open_tank(page, tank_side)
    _hatched(page, 20)
    page.get_by_text(NOT_SURE).click()
    for field in (
        page.get_by_text(NOT_SURE),
        page.get_by_label("From, at least"),
        page.get_by_label("To, at most"),
    ):
        box = field.bounding_box()
        assert box
        assert min(box["width"], box["height"]) >= FINGER
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= size["width"]
    assert Axe().run(page)["violations"] == []


def test_a_hatch_that_came_back_opens_with_its_range(phone_without_worker: Page, tank_side: TankSide) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    _hatched(page, 20)
    page.get_by_text(NOT_SURE).click()
    page.get_by_label("From, at least").fill("15")
    page.get_by_text("More: time, sexes, note").click()
    page.get_by_label("When, if not now").fill("2099-01-01T10:00")
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_contain_text("It came back.")
    page.get_by_role("button", name="Mend it").click()
    expect(page.get_by_label("From, at least")).to_have_value("15")
    page.get_by_label("When, if not now").fill("")
    page.get_by_label("How many").fill("17")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("about 17, at least 15, hatched")
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    assert StatedRange.objects.values_list("low", "high").get() == (15, None)


def test_a_death_is_not_asked_for_a_range(phone_without_worker: Page, tank_side: TankSide) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.get_by_role("button", name="two-spotted goby").click()
    page.get_by_role("button", name="Died").click()
    expect(page.get_by_role("button", name="Save")).to_be_visible()
    expect(page.get_by_text(NOT_SURE)).to_have_count(0)


def test_the_form_of_a_birth_opens_a_range_without_barriers_on_a_phone(
    page: Page, live_server: object, transactional_db: None
) -> None:
    registrar = make_person("Maren", roles=[Role.REGISTRAR], password=PASSWORD)
    assert registrar.user is not None
    make_house(registrar=registrar)
    make_event("received", lot=make_lot("A0"), place=make_place("E02"), unknown=4, entered_by=registrar)
    page.goto(f"{live_server}/sign-in")
    page.get_by_label("Sign-in name").fill(registrar.user.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{live_server}/")
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{live_server}/record/born/A0")
    page.get_by_label("Number").fill("40")
    page.get_by_text("Not counted exactly: between which numbers").click()
    page.get_by_label("At least").fill("50")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("At least 50 is more than the number itself, 40")).to_be_visible()
    assert Axe().run(page)["violations"] == []
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    page.get_by_label("At least").fill("30")
    page.get_by_label("At most").fill("60")
    page.get_by_role("button", name="Save").click()
    page.wait_for_url("**/lot/A0")
    expect(page.get_by_text("about 40, between 30 and 60")).to_be_visible()
    assert StatedRange.objects.values_list("low", "high").get() == (30, 60)
