"""Which time an entry has: the tablet's clock out, and a demonstration that lives on another day."""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from inventory.book.models import Event, Flag
from inventory.tankside.models import Entry

from .tank_side import TankSide, all_sent, dead, open_tank, phone, process, tank_side

pytestmark = pytest.mark.browser
__all__ = ["phone", "process", "tank_side"]

HOUR = timedelta(hours=1)


@pytest.fixture
def demonstration(tank_side: TankSide) -> Iterator[datetime]:
    """The server lives three days ago, as a demonstration does."""
    there = timezone.now() - timedelta(days=3)
    tank_side.server.start("--now", f"{timezone.localtime(there):%Y-%m-%dT%H:%M}")
    yield there
    tank_side.server.start()


def test_what_is_entered_in_a_demonstration_is_of_its_present(
    tank_side: TankSide, demonstration: datetime, phone: Page
) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    phone.get_by_role("button", name="Undo (10 min left)").click()
    expect(phone.locator("p.big")).to_contain_text("Undone.")
    phone.locator("#badge").click()
    there = timezone.localtime(demonstration)
    expect(phone.locator(".entries").first).to_contain_text(f"saved {there.day} {there:%b}")
    expect(phone.locator("#age")).to_contain_text("just now")
    assert set(Entry.objects.values_list("kind", flat=True)) == {"died", "undo"}
    assert not Flag.objects.filter(kind="clock").exists()
    death = Event.objects.get(kind="died")
    assert demonstration - HOUR < death.effective_at <= demonstration + HOUR


def test_what_waited_in_a_demonstration_keeps_its_hour(
    tank_side: TankSide, demonstration: datetime, phone: Page
) -> None:
    open_tank(phone, tank_side)
    phone.context.set_offline(True)
    dead(phone)
    expect(phone.locator("#badge")).to_have_text("1 not yet sent")
    phone.context.set_offline(False)
    all_sent(phone)
    entry = Entry.objects.get()
    assert entry.saved_at is not None
    # The shift is told in whole seconds.
    assert demonstration - HOUR < entry.saved_at < entry.received_at + timedelta(seconds=2)
    assert not Flag.objects.filter(kind="clock").exists()


def test_a_tablet_whose_clock_is_out_is_believed_to_have_seen_it_and_flagged(
    phone: Page, tank_side: TankSide
) -> None:
    phone.clock.install(time=timezone.now() + timedelta(minutes=40))
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    expect(phone.get_by_text(re.compile("clock of the device is (39|40|41) minutes ahead"))).to_be_visible()
    assert Flag.objects.filter(kind="clock").count() == 1
    # Never later than when it came.
    assert Event.objects.get(kind="died").effective_at <= timezone.now()
