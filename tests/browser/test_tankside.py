"""The tank side in a real browser: taps, touch areas, barriers, who holds the device.

Touch areas: 15 mm, which is 57 CSS px at 96 dpi (1 in = 25.4 mm = 96 px: CSS Values and Units Level 4, 6.2).
"""

import json
import math
import re
from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from inventory.book.models import Event, Flag, Lot
from inventory.people.actions.devices import revoke
from inventory.tankside.models import Entry

from .tank_side import (
    CODE,
    TankSide,
    all_sent,
    choose,
    dead,
    each_is_one_event,
    enrol,
    open_label,
    open_tank,
    phone,
    phone_without_worker,
    process,
    rows,
    tank_side,
)  # fmt: skip
from .test_pages import violations

pytestmark = pytest.mark.browser
__all__ = ["phone", "phone_without_worker", "process", "tank_side"]

TOUCH_PX = math.floor(15 / 25.4 * 96) + 1
COUNT_TAPS = """() => {
    for (const [event, name] of [["click", "taps"], ["keydown", "keys"]]) {
        const count = () => sessionStorage.setItem(name, Number(sessionStorage[name] ?? 0) + 1);
        addEventListener(event, count, true);
    }
}"""


def test_a_death_takes_four_taps_and_no_typing(phone: Page, tank_side: TankSide) -> None:
    """From the page that a label's code opens, the person already chosen."""
    open_tank(phone, tank_side)
    phone.evaluate(COUNT_TAPS)
    phone.get_by_role("button", name="two-spotted goby").tap()
    phone.get_by_role("button", name="3", exact=True).tap()
    phone.get_by_role("button", name="Died").tap()
    phone.get_by_role("button", name="Save").tap()
    said = re.compile(r"^3 dead, two-spotted goby, Kelp Hall, \d\d:\d\d$")
    expect(phone.get_by_role("heading", level=1)).to_have_text(said)
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    assert phone.evaluate("[Number(sessionStorage.taps), Number(sessionStorage.keys ?? 0)]") == [4, 0]
    death = Event.objects.get(kind="died")
    assert (death.flows.get().n, death.entered_by) == (3, tank_side.aquarist)
    assert death.device == "Blue"
    assert Lot.objects.get(accession="2025-1").held == 197


def test_a_death_of_one_with_a_name_takes_three_taps(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side, "/tank/#E02")
    phone.evaluate(COUNT_TAPS)
    phone.get_by_role("button", name="Thole").tap()
    phone.get_by_role("button", name="Died").tap()
    phone.get_by_role("button", name="Save").tap()
    expect(phone.get_by_role("heading", level=1)).to_have_text(re.compile("dead, .*Kelp Hall"))
    assert phone.evaluate("Number(sessionStorage.taps)") == 3
    all_sent(phone)
    # Class A: the body is asked for and was not told; curator and veterinarian are alarmed. Neither blocks.
    assert each_is_one_event(phone)[0]["answer"]["alarm"]
    assert "body" in set(Flag.objects.values_list("kind", flat=True))


class Look:
    """Looks at one view after another: touch areas, width, barriers by day and by night."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.seen: list[str] = []
        self.found: dict[str, object] = {}

    def __call__(self, view: str) -> None:
        page = self.page
        self.seen.append(view)
        wider = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        page.emulate_media(color_scheme="light")
        seen = {
            "too small": page.evaluate(TOO_SMALL, TOUCH_PX),
            "too wide": page.evaluate(wider),
            "barriers": violations(page),
        }
        page.emulate_media(color_scheme="dark")
        seen["dark"] = violations(page, only="color-contrast")
        self.found |= {f"{view}: {what}": wrong for what, wrong in seen.items() if wrong}


def press(page: Page, words: str) -> None:
    page.get_by_role("button", name=words, exact=True).click()


def test_every_view_up_to_the_animal_fits_a_wet_thumb_and_has_no_barrier(
    phone: Page, tank_side: TankSide
) -> None:
    look = Look(phone)
    phone.goto(f"{tank_side.server.url}/tank/enrol")
    look("enrol")
    phone.goto(f"{tank_side.server.url}/tank/")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Who are you?")
    look("chooser")
    phone.get_by_role("button", name="Jory").click()
    look("pad")
    for digit in CODE:
        press(phone, digit)
    expect(phone.get_by_text("My tanks")).to_be_visible()
    look("tanks")
    phone.get_by_role("button", name="Kelp Hall").click()
    look("tank")
    press(phone, "Not on this list")
    look("not on this list")
    phone.go_back()
    phone.get_by_role("button", name="Thole").click()
    look("animal with a name")
    open_label(phone, tank_side, "/tank/#E99")
    expect(phone.get_by_role("heading", level=1)).to_have_text(re.compile("Not on this device"))
    look("unknown label")
    assert look.found == {}
    assert len(look.seen) == 8


def test_every_view_of_an_entry_fits_a_wet_thumb_and_has_no_barrier(phone: Page, tank_side: TankSide) -> None:
    look = Look(phone)
    open_tank(phone, tank_side)
    for animal, kinds in (
        ("two-spotted goby", ("Died", "Missing", "Moved", "Sexed", "Stage", "Arrived", "Eggs", "Note")),
        ("lesser weever", ("Put down",)),
        ("Thole", ("Died",)),
    ):
        phone.get_by_role("button", name=animal).click()
        look(animal)
        for kind in kinds:
            press(phone, kind)
            for more in phone.locator("summary").all():
                more.click()
            look(f"{animal}, {kind}")
            phone.go_back()
        phone.go_back()
    phone.get_by_role("button", name="lesser weever").click()
    press(phone, "9")
    press(phone, "Moved")
    press(phone, "Save")
    expect(phone.get_by_role("alert")).to_have_text("Choose the tank that they went to.")
    look("moved, no tank chosen")
    phone.get_by_label("To which tank").select_option("Q1")
    press(phone, "Save")
    expect(phone.locator("p.big")).to_contain_text("It came back.")
    look("came back")
    press(phone, "Mend it")
    look("mend")
    phone.locator("#badge").click()
    expect(phone.get_by_role("button", name="I have read it")).to_be_visible()
    look("entries")
    assert look.found == {}
    assert len(look.seen) == 17


TOUCHED = "a, button, input, select, textarea, summary, label.tile"
TOO_SMALL = f"""least => [...document.querySelectorAll("{TOUCHED}")]
    .map(element => [element, element.getBoundingClientRect()])
    .filter(([element, box]) => box.width && (box.width < least || box.height < least))
    .map(([element, box]) => `${{element.outerHTML.slice(0, 80)}} ${{box.width}} x ${{box.height}}`)"""


def test_cautions_come_before_a_body_is_touched(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="lesser weever").click()
    phone.get_by_role("button", name="Died").click()
    caution = phone.get_by_role("region", name="Caution before you touch it")
    expect(caution).to_be_visible()
    expect(phone.get_by_role("button", name="Save")).to_be_visible()
    above = "([a, b]) => a.compareDocumentPosition(b) & Node.DOCUMENT_POSITION_FOLLOWING"
    handles = [caution.element_handle(), phone.get_by_role("button", name="Save").element_handle()]
    assert phone.evaluate(above, handles)


def test_every_kind_reaches_the_book(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    steps: list[tuple[str, str, dict[str, str]]] = [
        ("two-spotted goby", "Died", {}),
        ("two-spotted goby", "Missing", {}),
        ("two-spotted goby", "Seen again", {}),
        ("two-spotted goby", "Moved", {"To which tank": "Q1"}),
        ("two-spotted goby", "Put down", {}),
        ("two-spotted goby", "Born", {}),
        ("two-spotted goby", "Hatched", {}),
        ("two-spotted goby", "Eggs", {}),
        ("two-spotted goby", "Divided", {}),
        ("two-spotted goby", "Found", {}),
        ("two-spotted goby", "Arrived", {}),
        ("two-spotted goby", "Settled from sea water", {}),
        ("two-spotted goby", "Sexed", {"tile": "female"}),
        ("two-spotted goby", "Stage", {"tile": "juvenile"}),
        ("two-spotted goby", "Note", {"note": "fins clamped"}),
        ("small gobies", "Died", {}),
        ("", "Not on this list", {"what": "a red starfish"}),
        ("", "Note", {"note": "water low"}),
    ]
    for animal, kind, more in steps:
        if animal:
            phone.get_by_role("button", name=animal).first.click()
        phone.get_by_role("button", name=kind, exact=True).click()
        if "To which tank" in more:
            phone.get_by_label("To which tank").select_option(more["To which tank"])
        if "tile" in more:
            phone.get_by_role("radio", name=more["tile"], exact=True).check()
        for field in ("note", "what"):
            if field in more:
                phone.locator(f"#{field}").fill(more[field])
        phone.get_by_role("button", name="Save").click()
        phone.get_by_role("button", name="Another animal in Kelp Hall").click()
    all_sent(phone)
    kept = rows(phone)
    assert [(row["words"], row["answer"]["problems"]) for row in kept if row["state"] != "sent"] == []
    assert len(kept) == Entry.objects.count() == len(steps)
    # What the device says before it is sent, the house says after; of notes it says what they say.
    told = [(row["words"], row["answer"]["words"]) for row in kept if row["body"]["kind"] != "note"]
    assert [after.replace(", species open", "") for _, after in told] == [before for before, _ in told]
    assert "1 egg case laid" in " ".join(before for before, _ in told)
    kinds = {row["body"]["kind"] for row in kept}
    assert kinds == {
        "died", "missing", "seen_again", "moved", "put_down", "born", "hatched", "eggs", "divided", "found",
        "arrived", "settled", "sexed", "staged", "note",
    }  # fmt: skip
    notes = [row["body"]["note"] for row in kept if row["body"]["kind"] == "note"]
    assert notes == [
        "fins clamped",
        "Not on the list: 1, a red starfish; how it got here: not known",
        "water low",
    ]
    assert "open_name" in set(Flag.objects.values_list("kind", flat=True))


def test_a_move_of_more_than_the_book_comes_back_and_is_sent_as_counted(
    phone: Page, tank_side: TankSide
) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="lesser weever").click()
    phone.get_by_role("button", name="9", exact=True).click()
    phone.get_by_role("button", name="Moved").click()
    phone.get_by_label("To which tank").select_option("Q1")
    phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_contain_text("It came back. It is not in the book.")
    assert not Event.objects.filter(kind="moved").exists()
    phone.get_by_role("button", name="Mend it").click()
    phone.get_by_label("I count more than the book").check()
    phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    first, second = rows(phone)
    moved = Event.objects.get(kind="moved")
    assert (str(moved.identifier), moved.flows.get().n) == (second["identifier"], 9)
    assert second["body"]["replaces"] == first["identifier"]
    # Mended, it is no longer told as something to look into; and the way back does not lead to it.
    phone.go_back()
    expect(phone.get_by_role("button", name="I count more than the book")).to_have_count(0)
    phone.locator("#badge").click()
    expect(phone.get_by_text("Came back to you: 0")).to_be_visible()


def test_what_came_back_is_shown_to_its_author_and_to_nobody_else(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="lesser weever").click()
    phone.get_by_role("button", name="9", exact=True).click()
    phone.get_by_role("button", name="Moved").click()
    phone.get_by_label("To which tank").select_option("Q1")
    phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_contain_text("It came back. It is not in the book.")
    reason = rows(phone)[0]["answer"]["problems"][0]["words"]
    phone.get_by_role("button", name="change person").click()
    expect(phone.get_by_role("button", name="Jory")).to_contain_text("1 came back")
    choose(phone, "Ade")
    phone.locator("#badge").click()
    expect(phone.get_by_text("Came back to others: 1 to JP.")).to_be_visible()
    expect(phone.get_by_text(reason)).to_have_count(0)
    phone.get_by_role("button", name="change person").click()
    choose(phone, "Jory")
    expect(phone.get_by_text(reason)).to_be_visible()
    phone.get_by_role("button", name="I have read it").click()
    expect(phone.get_by_text("Came back to you: 0")).to_be_visible()


def test_the_way_back_from_a_saved_entry_is_not_to_save_it_again(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    phone.get_by_role("button", name="Save").dblclick()
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    phone.go_back()
    expect(phone.get_by_role("button", name="Missing")).to_be_visible()
    expect(phone.get_by_role("button", name="Save")).to_have_count(0)
    assert len(each_is_one_event(phone)) == 1


def test_what_is_wrong_is_not_under_the_button(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    phone.set_viewport_size({"width": 360, "height": 420})
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Moved").click()
    phone.get_by_role("button", name="Save").click()
    wrong, save = phone.locator(".save .problem"), phone.get_by_role("button", name="Save")
    expect(wrong).to_have_text("Choose the tank that they went to.")
    expect(wrong).to_be_in_viewport(ratio=1)
    told, button = wrong.bounding_box(), save.bounding_box()
    assert told
    assert button
    assert told["y"] + told["height"] <= button["y"]


def test_undo_leaves_both_lines(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    phone.get_by_role("button", name="Save").click()
    phone.get_by_role("button", name="Undo (10 min left)").click()
    expect(phone.locator("p.big")).to_contain_text("Undone. Both lines stay in the history.")
    expect(phone.get_by_role("button", name="Undo")).to_have_count(0)
    death = Event.objects.get(kind="died")
    assert Event.objects.get(kind="reversed").reverses == death
    assert Lot.objects.get(accession="2025-1").held == 200


def test_an_undo_without_signal_does_not_say_that_the_entry_was_not_sent(
    phone: Page, tank_side: TankSide
) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    phone.context.set_offline(True)
    phone.get_by_role("button", name="Undo (10 min left)").click()
    expect(phone.locator("p.big")).to_contain_text("The entry was sent before, this is not yet sent.")
    expect(phone.locator("#badge")).to_have_text("1 not yet sent")
    phone.context.set_offline(False)
    expect(phone.locator("p.big")).to_contain_text("Undone. Both lines stay in the history.")


def test_after_two_idle_minutes_nobody_is_chosen_and_what_was_saved_stays(
    phone: Page, tank_side: TankSide
) -> None:
    phone.clock.install()
    open_tank(phone, tank_side)
    dead(phone)
    all_sent(phone)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.clock.fast_forward("01:30")
    phone.get_by_role("button", name="3", exact=True).click()
    phone.clock.fast_forward("01:30")
    expect(phone.get_by_role("button", name="Died")).to_be_visible()
    phone.clock.fast_forward("00:31")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Who are you?")
    expect(phone.get_by_text("Nobody touched this device for a while.")).to_be_visible()
    choose(phone, "Ade")
    # The next person starts at the tank, not in the middle of what Jory was writing.
    expect(phone.get_by_role("heading", level=1)).to_have_text("E02 Kelp Hall")
    assert len(each_is_one_event(phone)) == 1


def test_a_clock_that_is_set_back_keeps_nobody_chosen(phone: Page, tank_side: TankSide) -> None:
    phone.clock.install()
    open_tank(phone, tank_side)
    phone.clock.set_system_time(tank_side.now - timedelta(hours=1))
    phone.clock.fast_forward("02:01")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Who are you?")


def test_a_saved_entry_needs_a_person(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    phone.evaluate("sessionStorage.clear()")
    phone.get_by_role("button", name="Save").click()
    expect(phone.get_by_role("alert")).to_have_text("Nobody is chosen. Choose who you are, then save again.")
    assert rows(phone) == []


def test_five_wrong_codes_lock_with_signal(phone: Page, tank_side: TankSide) -> None:
    phone.goto(f"{tank_side.server.url}/tank/")
    phone.get_by_role("button", name="Jory").click()
    for left in ("4 tries left", "3 tries left", "2 tries left", "1 try left", "locked"):
        for digit in "9028":
            phone.get_by_role("button", name=digit, exact=True).click()
        expect(phone.get_by_role("alert")).to_contain_text(left)
    for digit in CODE:
        phone.get_by_role("button", name=digit, exact=True).click()
    expect(phone.get_by_role("alert")).to_contain_text("Too many wrong codes")


def test_the_person_is_changed_and_five_wrong_codes_lock_without_signal(
    phone: Page, tank_side: TankSide
) -> None:
    open_tank(phone, tank_side)
    phone.context.set_offline(True)
    phone.get_by_role("button", name="change person").click()
    # Ade has not used this device: nothing here could prove who it is.
    choose(phone, "Ade")
    expect(phone.get_by_role("alert")).to_contain_text("It needs a signal the first time.")
    phone.get_by_role("button", name="Other person").click()
    choose(phone, "Jory")
    expect(phone.get_by_role("heading", level=1)).to_have_text("E02 Kelp Hall")
    phone.get_by_role("button", name="change person").click()
    phone.get_by_role("button", name="Jory").click()
    for left in ("4 tries left", "3 tries left", "2 tries left", "1 try left", "Locked on this device"):
        for digit in "9028":
            phone.get_by_role("button", name=digit, exact=True).click()
        expect(phone.get_by_role("alert")).to_contain_text(left)
    for digit in CODE:
        phone.get_by_role("button", name=digit, exact=True).click()
    expect(phone.get_by_role("alert")).to_contain_text("Locked on this device")
    # Nobody but themselves gives a person a code; the registrar's unlocking reaches no device without signal.
    expect(phone.get_by_role("alert")).to_contain_text("Choose a new one under “My code”")


def test_a_revoked_device_keeps_what_waits_and_sends_it_once_enrolled_again(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    phone = phone_without_worker
    open_tank(phone, tank_side)
    phone.context.set_offline(True)
    dead(phone)
    dead(phone, 2)
    revoke(tank_side.device, by=tank_side.registrar, now=tank_side.now)
    phone.context.set_offline(False)
    expect(phone.get_by_role("heading", level=1)).to_have_text("This device was taken off the list")
    expect(phone.locator("#badge")).to_contain_text("2 not yet sent")
    # What a stranger could read on it is gone.
    assert phone.evaluate("import('/static/tankside/store.js').then(s => s.kept('lists'))") is None
    assert not Event.objects.filter(kind="died").exists()
    enrol(phone, tank_side)
    open_tank(phone, tank_side)
    all_sent(phone)
    assert len(each_is_one_event(phone)) == 2


def test_the_label_is_scanned_where_the_browser_can_read_codes(phone: Page, tank_side: TankSide) -> None:
    """Debian's Chromium reads no codes itself: a reader that finds a label of this site stands in."""
    label = json.dumps(f"{tank_side.server.url}/tank/#E02")
    phone.add_init_script(f"""
        globalThis.BarcodeDetector = class {{
            static async getSupportedFormats() {{ return ["qr_code"]; }}
            async detect() {{ return [{{ rawValue: {label} }}]; }}
        }};
        const picture = document.createElement("canvas");
        if (navigator.mediaDevices) navigator.mediaDevices.getUserMedia = async () => picture.captureStream();
        HTMLMediaElement.prototype.play = async () => {{}};
    """)
    open_tank(phone, tank_side, "/tank/")
    phone.get_by_role("button", name=re.compile("Scan the tank")).click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("E02 Kelp Hall")


def test_a_tank_is_found_by_its_short_code_and_a_lot_by_its_label(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side, "/tank/")
    phone.get_by_label("Code on the label").fill(" e02")
    phone.get_by_label("Code on the label").press("Enter")
    expect(phone.get_by_role("heading", level=1)).to_have_text("E02 Kelp Hall")
    phone.get_by_role("button", name="Other tank").click()
    phone.get_by_label("Code on the label").fill("E99")
    phone.get_by_role("button", name="Open").click()
    expect(phone.get_by_role("alert")).to_have_text("No tank has the code “E99”.")
    open_label(phone, tank_side, "/tank/#lot/2025-4")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Thole")
