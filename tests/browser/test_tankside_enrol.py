"""Enrolling: a code that comes by an address, and none at all."""

import pytest
from playwright.sync_api import Page, expect

from .tank_side import TankSide, phone, process, tank_side

pytestmark = pytest.mark.browser
__all__ = ["phone", "process", "tank_side"]


def test_a_scanned_code_is_taken_while_the_page_is_open(phone: Page, tank_side: TankSide) -> None:
    """A second address that differs behind the # alone loads nothing anew."""
    phone.goto(f"{tank_side.server.url}/tank/enrol")
    phone.get_by_role("button", name="Enrol this device").click()
    expect(phone.get_by_role("alert")).to_have_text("Type the four words of the code, or scan it.")
    words = tank_side.code().replace(" ", "-")
    phone.goto(f"{tank_side.server.url}/tank/enrol#{words}")
    expect(phone.get_by_label("Code in words")).to_have_value(words)
    phone.get_by_role("button", name="Enrol this device").click()
    expect(phone.get_by_text("This device is Blue.")).to_be_visible()
