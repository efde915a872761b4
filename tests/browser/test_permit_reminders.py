"""Reminders, notices and trade in a real browser: for everybody's eyes, and a calendar that opens."""

from datetime import date
from typing import Any

import pytest
from axe_core_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Page
from pytest_django.live_server_helper import LiveServer

from inventory.book.models import Event
from inventory.names.models import ListEntry, NameList
from inventory.permits.actions.loans import LoanFacts, enter_loan
from inventory.permits.actions.permits import LineFacts, LinkFacts
from inventory.permits.models import Loan, NoticeSending

from .. import factories
from ..permits.house import PermitHouse, make_permit_house

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("frozen_clock"),
]


@pytest.fixture
def house(transactional_db: None) -> PermitHouse:
    """A permit to hold lobsters, some of which died and some were sent; a loan that is over."""
    held = LineFacts("Lobster, holding", 20, per="held", link=LinkFacts("taxon", ["Homarus gammarus"]))
    made = make_permit_house((held,), notice_days=7)
    user = made.officer.user
    assert user is not None
    user.set_password("a long enough word")
    user.save()
    lot = factories.make_lot("H1", taxon=made.taxa["Homarus gammarus"], house_name="Thole")
    factories.make_event("received", lot=lot, place="E02", unknown=9, happened="2026-03-01")
    factories.make_event("died", lot=lot, place="E02", unknown=2, happened="2026-09-25")
    factories.make_event("sent", lot=lot, place="E02", unknown=1, happened="2026-09-20", party="A Sea Hall")
    of_list = NameList.objects.create(
        code="cites", version=1, name="Appendices", kind="legal", authority="x", source="a test",
        source_date="2026", mark="memory", loaded_at=factories.NOW, fingerprint="0",
    )  # fmt: skip
    ListEntry.objects.create(
        of_list=of_list, row=7, scientific_name="Homarus gammarus", name="Homarus gammarus",
        first_word="Homarus", rank="species", annotation="Appendix III", mark="memory",
    )  # fmt: skip
    facts = LoanFacts("L1", "in", "A Sea Hall", date(2025, 5, 12), until=date(2026, 5, 11), lots=["H1"])
    enter_loan(facts=facts, by=made.officer, now=made.now)
    return made


def _sign_in(page: Page, live_server: LiveServer, house: PermitHouse) -> None:
    user = house.officer.user
    assert user is not None
    page.goto(live_server.url + "/permits/reminders")
    page.locator("input[name=username]").fill(user.username)
    page.locator("input[name=password]").fill("a long enough word")
    page.locator("main button[type=submit]").click()
    page.wait_for_url(live_server.url + "/permits/reminders")


def test_a_notice_is_read_sent_and_kept_and_a_calendar_opens(
    page: Page, live_server: LiveServer, house: PermitHouse
) -> None:
    _sign_in(page, live_server, house)
    page.get_by_role("link", name="Homarus gammarus H1").click()
    assert "Number: 2 animals" in page.get_by_label("The notice, as sent").input_value()
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("Settled, after its day").wait_for()
    assert NoticeSending.objects.get().n == 2
    page.goto(live_server.url + "/permits/reminders")
    page.get_by_role("button", name="Make an address").click()
    address = page.locator("p.hash").inner_text()
    feed = page.request.get(live_server.url + address[address.index("/calendar/") :])
    assert feed.text().startswith("BEGIN:VCALENDAR")
    page.get_by_role("button", name="Close it").click()
    page.get_by_text("is closed").wait_for()
    assert page.request.get(live_server.url + address[address.index("/calendar/") :]).status == 404


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 360])
def test_the_pages_are_for_everybody(
    page: Page, live_server: LiveServer, house: PermitHouse, width: int, scheme: Any
) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    page.emulate_media(color_scheme=scheme)
    _sign_in(page, live_server, house)
    sent = Event.objects.get(kind="sent")
    notice = page.get_by_role("link", name="Homarus gammarus H1").get_attribute("href")
    taxon = house.taxa["Homarus gammarus"].pk
    found: dict[str, Any] = {}
    for path in (
        *("/permits/reminders", notice, "/permits/trade", f"/permits/trade/event/{sent.pk}/{taxon}"),
        *(f"/event/{sent.pk}", "/permits", "/loans", f"/loan/{Loan.objects.get().pk}"),
    ):
        page.goto(f"{live_server.url}{path}")
        for closed in page.locator("details").all():
            closed.evaluate("one => { one.open = true }")
        wrong = [violation["id"] for violation in Axe().run(page)["violations"]]
        wide = page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")
        if wrong or wide:
            found[str(path)] = (wrong, wide)
    assert found == {}
