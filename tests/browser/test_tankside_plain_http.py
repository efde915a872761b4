"""A house without TLS: plain http has no worker, no locks and no WebCrypto (W3C Secure Contexts).

Entries are kept and sent as ever, and the page says what does not work.
"""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from inventory.book.models import Flag
from inventory.tankside.models import Entry

from .conftest import FLAGS
from .tank_side import (
    CODE,
    TankSide,
    all_sent,
    choose,
    dead,
    each_is_one_event,
    enrol,
    listen,
    open_tank,
    phone_of,
    process,
    rows,
    tank_side,
    unbroken,
    until,
    watch,
)  # fmt: skip
from .test_tankside_outbox import PUT

pytestmark = pytest.mark.browser
__all__ = ["plain", "process", "tank_side"]

NAME = "tank.example"


@pytest.fixture
def plain(browser: Browser, chromium: str, tank_side: TankSide) -> Iterator[Page]:
    """A phone that knows the server by a name of the house's network, enrolled."""
    flags = [*FLAGS, f"--host-resolver-rules=MAP {NAME} 127.0.0.1"]
    opened = browser.browser_type.launch(executable_path=chromium, args=flags)
    page = phone_of(opened).new_page()
    watch(page)
    tank_side.server.host = NAME
    enrol(page, tank_side)
    yield page
    unbroken(page)
    opened.close()
    tank_side.server.host = "localhost"


def test_entries_without_signal_are_kept_and_sent_once(plain: Page, tank_side: TankSide) -> None:
    open_tank(plain, tank_side)
    assert not plain.evaluate("isSecureContext || Boolean(navigator.locks) || Boolean(crypto.subtle)")
    expect(plain.locator("#age")).to_contain_text("the page itself opens only with signal")
    second = plain.context.new_page()
    watch(second)
    open_tank(second, tank_side)
    plain.context.set_offline(True)
    dead(plain)
    plain.evaluate(PUT, 4)
    second.evaluate(PUT, 4)
    assert len({row["identifier"] for row in rows(plain)}) == 9
    plain.context.set_offline(False)
    for page in (plain, second):
        all_sent(page)
    assert len(each_is_one_event(plain)) == 9
    assert Entry.objects.count() == 9
    unbroken(second)


def test_a_code_that_cannot_be_checked_without_signal_leaves_the_author_to_be_confirmed(
    plain: Page, tank_side: TankSide
) -> None:
    open_tank(plain, tank_side)
    plain.context.set_offline(True)
    plain.get_by_role("button", name="change person").click()
    listen(plain)
    choose(plain, "Jory", CODE[::-1])
    expect(plain.get_by_role("heading", level=1)).to_have_text("E02 Kelp Hall")
    until(plain, "window.heard.some(words => words.includes('the registrar will be asked to confirm'))")
    dead(plain)
    plain.context.set_offline(False)
    all_sent(plain)
    (row,) = each_is_one_event(plain)
    assert row["body"]["pass"] is None
    assert Flag.objects.get(kind="author").owner == tank_side.registrar
