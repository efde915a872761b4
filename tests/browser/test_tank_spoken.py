"""What the tank side tells a screen reader: each confirmation once, and no old words left behind.

A live region is told when it changes (WAI-ARIA 1.2, role "status", announced politely).
Equal words put over it are no change.
"""

import re

import pytest
from playwright.sync_api import Page, expect

from .tank_side import TankSide, dead, heard, listen, open_tank, phone, process, tank_side, until

pytestmark = pytest.mark.browser
__all__ = ["phone", "process", "tank_side"]

SAY = "words => import('/static/tankside/dom.js').then(dom => words.forEach(one => dom.say(one)))"


def test_two_equal_confirmations_are_told_each_once_and_leave_nothing_behind(
    phone: Page, tank_side: TankSide
) -> None:
    open_tank(phone, tank_side)
    phone.context.set_offline(True)
    listen(phone)
    for _ in range(2):
        dead(phone)
    expect(phone.get_by_role("heading", level=1)).to_have_text("E02 Kelp Hall")
    until(phone, "window.heard.length === 2")
    said = re.compile(r"Saved on this device: 1 dead, two-spotted goby, Kelp Hall, \d\d:\d\d")
    assert [bool(said.fullmatch(words)) for words in heard(phone)] == [True, True]


def test_words_that_come_at_once_are_told_one_after_the_other(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    until(phone, "document.getElementById('said').textContent === ''")
    listen(phone)
    phone.evaluate(SAY, ["Undone", "Undone", "Label read"])
    until(phone, "window.heard.length === 3")
    assert heard(phone) == ["Undone", "Undone", "Label read"]
