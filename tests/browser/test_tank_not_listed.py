"""An animal that the tank's list does not have, told by a number, by a letter, or as too many to count."""

import pytest
from playwright.sync_api import Page, expect

from inventory.book.models import Event
from inventory.tankside.models import Entry

from .tank_side import TankSide, all_sent, open_tank, phone_without_worker, process, rows, tank_side
from .test_pages import violations

pytestmark = pytest.mark.browser
__all__ = ["phone_without_worker", "process", "tank_side"]


def _begin(page: Page) -> None:
    page.get_by_role("button", name="Not on this list").click()
    expect(page.get_by_label("How many", exact=True)).to_be_visible()


def _heading(page: Page, words: str) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(words)


def _save(page: Page) -> None:
    page.get_by_role("button", name="Save").click()


def test_a_letter_stands_in_place_of_the_number_also_without_signal(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page, before = phone_without_worker, Event.objects.count()
    open_tank(page, tank_side)
    page.context.set_offline(True)
    _begin(page)
    page.get_by_label("A letter or mark").check()
    expect(page.get_by_label("How many", exact=True)).to_be_hidden()
    page.get_by_label("What it is, in your words").fill("a conger")
    _save(page)
    expect(page.get_by_role("alert")).to_have_text("Say which letter or mark it bears.")
    page.get_by_label("Which letter or mark").fill(" B ")
    page.get_by_label("Moved here").check()
    _heading(page, "marked B not on the list, Kelp Hall")
    assert violations(page) == []
    _save(page)
    expect(page.locator("p.big")).to_contain_text("Saved on this device.")
    page.context.set_offline(False)
    all_sent(page)
    (row,) = rows(page)
    assert row["state"] == "sent"
    entry = Entry.objects.get()
    assert (entry.body["letter"], entry.body["unlisted"], entry.total) == ("B", True, 0)
    assert entry.body["note"] == "Not on the list: marked B, a conger; how it got here: moved"
    assert entry.how_many == "the one marked B"
    assert Event.objects.count() == before


def test_too_many_to_count_is_an_abundance(phone_without_worker: Page, tank_side: TankSide) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    _begin(page)
    page.get_by_label("Too many to count").check()
    _heading(page, "many not on the list, Kelp Hall")
    page.get_by_label("What it is, in your words").fill("barnacles")
    _save(page)
    expect(page.get_by_role("alert")).to_have_text("Say how abundant they are.")
    page.get_by_label("How abundant").select_option("C")
    _heading(page, "common not on the list, Kelp Hall")
    _save(page)
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    entry = Entry.objects.get()
    assert (entry.body["abundance"], entry.how_many) == ("C", "C, common")
    assert "letter" not in entry.body


def test_what_came_back_is_opened_with_its_words(phone_without_worker: Page, tank_side: TankSide) -> None:
    """A note that is too long; it is mended as what it was, and nothing of it is typed again."""
    page = phone_without_worker
    open_tank(page, tank_side)
    _begin(page)
    page.get_by_label("How many", exact=True).fill("3")
    page.get_by_label("What it is, in your words").fill("a star, red")
    page.get_by_label("Settled", exact=True).check()
    page.locator("summary").click()
    page.get_by_label("Note", exact=True).fill("x" * 2_000)
    _save(page)
    expect(page.locator("p.big")).to_contain_text("It came back.")
    page.get_by_role("button", name="Mend it").click()
    _heading(page, "3 not on the list, Kelp Hall")
    expect(page.get_by_label("What it is, in your words")).to_have_value("a star, red")
    expect(page.get_by_label("Settled", exact=True)).to_be_checked()
    expect(page.get_by_label("Note", exact=True)).to_have_value("x" * 2_000)
    page.get_by_label("Note", exact=True).fill("under the rock; alive")
    _save(page)
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    entry = Entry.objects.get(outcome="sent")
    assert (entry.total, entry.how_many, entry.body["unlisted"]) == (3, "3", True)
    note = "Not on the list: 3, a star, red; how it got here: settled; under the rock; alive"
    assert entry.body["note"] == note
