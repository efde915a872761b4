"""A delivery at the tank: what lives, what was dead on arrival, and one of which nothing lives."""

import pytest
from playwright.sync_api import Page, expect

from inventory.book.models import Event
from inventory.tankside.models import Entry

from .tank_side import TankSide, all_sent, open_tank, phone_without_worker, process, rows, tank_side

pytestmark = pytest.mark.browser
__all__ = ["phone_without_worker", "process", "tank_side"]


def _arrived(page: Page, n: int) -> None:
    page.get_by_role("button", name="two-spotted goby").click()
    page.get_by_role("button", name=str(n), exact=True).click()
    page.get_by_role("button", name="Arrived").click()


def test_a_shipment_that_is_all_dead_is_one_tap_more_and_no_event(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page, before = phone_without_worker, Event.objects.count()
    open_tank(page, tank_side)
    page.context.set_offline(True)
    _arrived(page, 12)
    page.get_by_label("All were dead on arrival").check()
    expect(page.get_by_role("heading", level=1)).to_have_text(
        "12 arrived, all dead on arrival, two-spotted goby, Kelp Hall"
    )
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_contain_text("Saved on this device.")
    page.context.set_offline(False)
    all_sent(page)
    (row,) = rows(page)
    assert row["state"] == "sent"
    assert row["answer"]["words"].startswith("12 arrived, all dead on arrival, two-spotted goby, Kelp Hall")
    assert Entry.objects.get().body["dead_on_arrival"] == 12
    assert Event.objects.count() == before


def test_only_those_that_live_enter_the_book(phone_without_worker: Page, tank_side: TankSide) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    _arrived(page, 5)
    dead = page.get_by_label("Dead on arrival, besides those above")
    dead.fill("many")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_have_text("Say how many were dead on arrival, as a number.")
    dead.fill("7")
    page.get_by_label("From whom, or which permit").fill("Brevik Fish")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("5 arrived alive, 7 dead on arrival")
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    event = Event.objects.get(note="from Brevik Fish; dead on arrival: 7")
    assert sum(event.flows.values_list("n", flat=True)) == 5
