"""Differences and a line in a real browser: no barrier, and decisions within a thumb's reach."""

import pytest
from django.urls import reverse
from playwright.sync_api import Locator, Page, expect

from census.rounds.models import Decision

from ..rounds.house import TestHouse
from .test_census_papers import _sign_in
from .test_procedure_pages import house, looked_at

__all__ = ["house"]  # the fixture
pytestmark = pytest.mark.browser
PHONE = 360


def fits(page: Page, one: Locator) -> bool:
    """True when all of it stands on a phone without scrolling sideways."""
    box = one.bounding_box()
    assert box is not None
    return box["x"] >= 0 and box["x"] + box["width"] <= PHONE


def test_the_differences_have_no_barrier_and_fit_page_and_phone(
    page: Page, house: TestHouse, live_server: object
) -> None:
    census = house.compared({"goby": 6, "cod": 14, "wrasse": 24, "wrasse q": 0, "prawn a": 18, "prawn b": 25})
    house.count(
        census, {"goby": 6, "cod": 14, "wrasse": 24, "wrasse q": 0, "prawn a": 18, "prawn b": 25}, round=2
    )
    _sign_in(page, f"{live_server}", house.registrar)
    address = f"{live_server}{reverse('differences', args=[census.code])}"
    lines = [house.line(census, name) for name in ("goby", "wrasse", "prawn a")]
    pages = [address, f"{address}?show=all&sort=sheet"]
    pages += [f"{live_server}{reverse('census_line', args=[x.sheet.number, x.number])}" for x in lines]
    assert {url: looked_at(page, url) for url in pages} == {url: [] for url in pages}

    page.set_viewport_size({"width": 1280, "height": 800})
    page.goto(address)
    table = page.get_by_role("region", name="Differences", exact=True)
    assert table.evaluate("e => e.scrollWidth <= e.clientWidth"), "the state is cut off"
    page.set_viewport_size({"width": PHONE, "height": 740})
    ticks = page.get_by_role("checkbox").all()
    assert len(ticks) > 2
    assert all(fits(page, tick) for tick in ticks)


def test_a_move_is_accepted_with_a_tick_and_a_loss_waits_for_the_curator_on_a_phone(
    page: Page, house: TestHouse, live_server: object
) -> None:
    counts = {"goby": 6, "wrasse": 24, "wrasse q": 0}
    census = house.compared(counts)
    house.count(census, counts, round=2)
    _sign_in(page, f"{live_server}", house.registrar)
    page.set_viewport_size({"width": PHONE, "height": 740})
    page.goto(f"{live_server}{reverse('differences', args=[census.code])}")
    page.get_by_role("checkbox", name="Accept for Symphodus melops in K1").check()
    page.get_by_role("button", name="Accept what is ticked").click()
    expect(page.get_by_text("1 proposal accepted.")).to_be_visible()
    assert {one.line.place.code for one in Decision.objects.all()} == {"K1", "K2"}

    goby = house.line(census, "goby")
    page.get_by_role("link", name=f"line {goby.number}", exact=False).first.click()
    expect(page.get_by_role("heading", name="Gobius niger")).to_be_visible()
    for button in page.get_by_role("button", name="Accept: ").all():
        assert fits(page, button)
    page.get_by_role("button", name="Accept: unexplained loss").click()
    expect(page.get_by_text("the curator's approval is needed")).to_be_visible()
    page.get_by_label("Ask for approval").first.check()
    page.get_by_role("button", name="Accept: unexplained loss").click()
    expect(page.get_by_role("status")).to_contain_text("approv")
    assert not Decision.objects.filter(line=goby).exists()

    page.context.clear_cookies()
    _sign_in(page, f"{live_server}", house.curator)
    assert looked_at(page, f"{live_server}{reverse('approvals')}") == []
    approve = page.get_by_role("button", name=f"Approve {goby}", exact=True)
    assert fits(page, approve)
    approve.click()
    expect(page.get_by_role("button", name=f"Approve {goby}", exact=True)).to_have_count(0)
    assert Decision.objects.get(line=goby).approved_by == house.curator
