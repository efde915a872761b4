"""Readings at the tank: kept on the device without signal, checked before they are kept, one each."""

import math
import re

import pytest
from playwright.sync_api import Page, expect

from inventory.tankside.models import Reading

from .tank_side import TankSide, all_sent, open_tank, phone, process, rows, tank_side
from .test_pages import violations

pytestmark = pytest.mark.browser
__all__ = ["phone", "process", "tank_side"]
# 15 mm at 96 dpi: CSS Values and Units Level 4, 6.2.
TOUCH_PX = math.floor(15 / 25.4 * 96)


def save(page: Page, value: str, what: str = "") -> None:
    if what:
        page.get_by_label("What").select_option(label=what)
    page.get_by_label("Value").fill(value)
    page.get_by_role("button", name="Save").click()


def test_readings_without_signal_go_later_each_once(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side, "/tank/readings#E02")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Reading, Kelp Hall")
    phone.context.set_offline(True)
    save(phone, "9,4")
    expect(phone.locator("p.big")).to_contain_text(re.compile(r"Temperature 9,4 °C, Kelp Hall, \d\d:\d\d"))
    save(phone, "34.8", "Salinity, practical")
    expect(phone.locator("p.big")).to_contain_text("Salinity 34.8, Kelp Hall")
    expect(phone.locator("#badge")).to_have_text("2 not yet sent")
    assert not Reading.objects.exists()
    phone.context.set_offline(False)
    all_sent(phone)
    kept = Reading.objects.order_by("id")
    assert [(str(one.value), one.unit, one.by, one.device) for one in kept] == [
        ("9.4000", "°C", tank_side.aquarist, "Blue"),
        ("34.8000", "PSU", tank_side.aquarist, "Blue"),
    ]
    assert [str(one.identifier) for one in kept] == [row["identifier"] for row in rows(phone)]


def test_a_slip_of_the_hand_is_told_at_the_tank_and_not_kept(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side, "/tank/readings#E02")
    for typed, says in (
        ("400", "Temperature, °C: 400 cannot be; expected -3 to 45."),
        ("warm", "“warm” is no number."),
        ("", "Type the value."),
    ):
        save(phone, typed)
        expect(phone.get_by_role("alert")).to_have_text(says)
    assert rows(phone) == []


def test_what_was_saved_before_is_not_read_as_the_answer_to_a_slip_of_the_hand(
    phone: Page, tank_side: TankSide
) -> None:
    open_tank(phone, tank_side, "/tank/readings#E02")
    save(phone, "9.4")
    expect(phone.locator("p.big")).to_contain_text("Saved on this device: Temperature 9.4 °C, Kelp Hall")
    save(phone, "9..4")
    expect(phone.get_by_role("alert")).to_have_text("“9..4” is no number.")
    expect(phone.locator("p.big")).to_have_count(0)
    assert len(rows(phone)) == 1


def test_the_tank_is_chosen_and_every_touch_area_is_large_enough(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side, "/tank/readings")
    assert violations(phone) == []
    phone.get_by_role("button", name="E02 Kelp Hall").click()
    expect(phone.get_by_label("Value")).to_be_visible()
    assert violations(phone) == []
    small = phone.locator("main button, main input, main select").evaluate_all(
        "all => all.map(one => one.getBoundingClientRect())"
        ".map(box => [Math.round(box.width), Math.round(box.height)])"
    )
    assert [box for box in small if min(box) < TOUCH_PX] == []
    assert phone.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
