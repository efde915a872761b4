"""What a wet hand does wrong: another kind, a number that is none, half a date, an animal that is gone."""

import pytest
from playwright.sync_api import Page, expect

from inventory.book.models import Event, Lot

from ..factories import make_event
from .tank_side import (
    TankSide,
    all_sent,
    choose,
    open_tank,
    phone,
    phone_without_worker,
    process,
    rows,
    tank_side,
)  # fmt: skip

pytestmark = pytest.mark.browser
__all__ = ["phone", "phone_without_worker", "process", "tank_side"]

NO_NUMBER = "Say how many, as a whole number: 1 or more."
HALF_A_TIME = "The time is not complete: give day, month, year, hour and minute, or clear it for now."


def _press(page: Page, words: str) -> None:
    page.get_by_role("button", name=words, exact=True).click()


def _goby(page: Page) -> None:
    page.get_by_role("button", name="two-spotted goby").click()


def _headed(page: Page, words: str) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(words)


def test_the_wrong_kind_is_left_and_the_number_is_still_chosen(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    _goby(phone)
    _press(phone, "12")
    _press(phone, "Died")
    _headed(phone, "12 dead, two-spotted goby, Kelp Hall")
    phone.go_back()
    expect(phone.get_by_text("12 in Kelp Hall")).to_be_visible()
    expect(phone.get_by_role("button", name="12", exact=True)).to_have_attribute("aria-pressed", "true")
    _press(phone, "Missing")
    _headed(phone, "12 missing, two-spotted goby, Kelp Hall")
    phone.go_back()
    phone.get_by_label("More than 30").fill("45")
    _press(phone, "Died")
    phone.go_back()
    expect(phone.get_by_label("More than 30")).to_have_value("45")
    _press(phone, "Died")
    _headed(phone, "45 dead, two-spotted goby, Kelp Hall")


def test_the_number_of_what_was_saved_or_left_is_not_the_next_one(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    _goby(phone)
    _press(phone, "12")
    _press(phone, "Died")
    _press(phone, "Save")
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    phone.go_back()
    expect(phone.get_by_text("1 in Kelp Hall", exact=True)).to_be_visible()
    _press(phone, "7")
    phone.go_back()
    _goby(phone)
    expect(phone.get_by_text("1 in Kelp Hall", exact=True)).to_be_visible()


@pytest.mark.parametrize("typed", ["0", "-3", "3.5", "3 or 4", "many"])
def test_a_number_that_is_none_is_told_and_leads_nowhere(
    phone: Page, tank_side: TankSide, typed: str
) -> None:
    open_tank(phone, tank_side)
    _goby(phone)
    _press(phone, "4")
    phone.get_by_label("More than 30").fill(typed)
    _press(phone, "Died")
    expect(phone.get_by_role("alert")).to_have_text(NO_NUMBER)
    expect(phone.get_by_label("More than 30")).to_be_focused()
    phone.get_by_label("More than 30").fill("10000")
    _press(phone, "Died")
    _headed(phone, "10000 dead, two-spotted goby, Kelp Hall")


def test_a_box_that_is_emptied_says_one_again(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    _goby(phone)
    phone.get_by_label("More than 30").fill("45")
    phone.get_by_label("More than 30").fill("")
    expect(phone.get_by_text("1 in Kelp Hall", exact=True)).to_be_visible()
    _press(phone, "Died")
    _headed(phone, "1 dead, two-spotted goby, Kelp Hall")


@pytest.mark.parametrize("typed", ["-1", "1.5", "two"])
def test_sexes_that_are_no_numbers_are_told_and_not_left_out(
    phone: Page, tank_side: TankSide, typed: str
) -> None:
    open_tank(phone, tank_side)
    _goby(phone)
    _press(phone, "3")
    _press(phone, "Died")
    phone.get_by_text("More: body, cause, time, sexes, note").click()
    phone.get_by_label("Males", exact=True).fill(typed)
    _press(phone, "Save")
    expect(phone.get_by_role("alert")).to_have_text("Say how many are male, as a whole number.")
    assert rows(phone) == []
    phone.get_by_label("Males", exact=True).fill("2")
    _press(phone, "Save")
    all_sent(phone)
    died = Event.objects.get(kind="died")
    assert sorted(died.flows.values_list("from_cell__sex", "n")) == [("male", 2), ("unknown", 1)]


def test_half_a_time_is_told_and_never_taken_for_now(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    _goby(phone)
    _press(phone, "Died")
    phone.get_by_text("More: body, cause, time, sexes, note").click()
    phone.get_by_label("When, if not now").focus()
    phone.keyboard.type("0510")
    _press(phone, "Save")
    expect(phone.get_by_role("alert")).to_have_text(HALF_A_TIME)
    assert rows(phone) == []


def test_half_a_day_is_told_and_never_taken_for_unknown(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    _goby(phone)
    _press(phone, "Missing")
    phone.get_by_label("Last seen for certain").focus()
    phone.keyboard.type("0510")
    _press(phone, "Save")
    told = "The day is not complete: give day, month and year, or clear it."
    expect(phone.get_by_role("alert")).to_have_text(told)
    assert rows(phone) == []


def test_half_a_time_on_a_field_slip_is_told(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side, "/tank/slip")
    phone.get_by_label("Number of the permit").fill("KI 2024/001")
    phone.get_by_label("When, if not now").focus()
    phone.keyboard.type("0510")
    _press(phone, "Save the slip")
    expect(phone.get_by_role("alert")).to_have_text(HALF_A_TIME)
    assert rows(phone) == []


def test_what_came_back_of_an_animal_that_is_gone_is_not_sent_without_an_animal(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    """The only animal dies at the desk while the tablet, without signal, has it dead too."""
    page = phone_without_worker
    open_tank(page, tank_side)
    page.context.set_offline(True)
    page.get_by_role("button", name="Thole").click()
    _press(page, "Died")
    _press(page, "Save")
    make_event(
        "died",
        lot=Lot.objects.get(accession="2025-4"),
        place="E02",
        unknown=1,
        happened=f"{tank_side.now:%Y-%m-%d}",
        entered_by=tank_side.registrar,
        now=tank_side.now,
    )
    page.context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator("p.big")).to_contain_text("It came back.")
    page.evaluate("import('/static/tankside/lists.js').then(it => it.refresh())")
    _press(page, "Mend it")
    _headed(page, "No longer on the list of Kelp Hall")
    expect(page.get_by_role("button", name="Save")).to_have_count(0)
    _press(page, "To what came back")
    expect(page.get_by_text("Came back to you: 1")).to_be_visible()


def test_what_cannot_be_undone_any_more_says_by_which_number_the_registrar_finds_it(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    page.clock.install()
    open_tank(page, tank_side)
    _goby(page)
    _press(page, "Died")
    _press(page, "Save")
    expect(page.get_by_role("button", name="Undo (10 min left)")).to_be_visible()
    expect(page.get_by_text("Was it wrong?")).to_have_count(0)
    page.locator("#badge").click()
    expect(page.get_by_text("Was it wrong?")).to_have_count(0)
    _press(page, "Back to the tanks")
    page.clock.fast_forward("00:10:30")
    _headed(page, "Who are you?")
    choose(page)
    page.locator("#badge").click()
    event = Event.objects.get(kind="died")
    told = f"Event {event.pk}. Was it wrong? The registrar takes it back: tell them this number."
    expect(page.get_by_text(told)).to_be_visible()
    expect(page.get_by_role("button", name="Undo")).to_have_count(0)
