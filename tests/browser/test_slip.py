"""The field slip: written on the boat without signal, sent later, and exactly one trip."""

import math
import re
from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from inventory.book.models import Event
from inventory.permits.actions.permits import LineFacts, LinkFacts, VersionFacts, enter_permit
from inventory.permits.models import Case, Take, Trip

from .tank_side import TankSide, all_sent, choose, open_tank, phone, process, rows, tank_side, until
from .test_pages import violations

pytestmark = pytest.mark.browser
__all__ = ["phone", "process", "tank_side"]
# 15 mm at 96 dpi: CSS Values and Units Level 4, 6.2.
TOUCH_PX = math.floor(15 / 25.4 * 96)


@pytest.fixture
def boat(phone: Page, tank_side: TankSide) -> Page:
    """The slip is open, the device knows its position, and there is no signal."""
    today = tank_side.now.date()
    enter_permit(
        number="P 7",
        authority="BOARD",
        authority_name="The Board",
        return_days=30,
        holder="Skerry Aquarium",
        facts=VersionFacts(
            valid_from=today - timedelta(days=30),
            valid_until=today + timedelta(days=30),
            people=["Jory Penhalloway"],
            gear=["hand net", "creel"],
            lines=(
                LineFacts(
                    "Two-spotted goby (Gobiusculus flavescens)",
                    10,
                    link=LinkFacts("taxon", ["Pomatoschistus flavescens"]),
                ),
                LineFacts("Anemones, any, together", 6, link=LinkFacts("group", ["order Actiniaria"])),
            ),
        ),
        by=tank_side.registrar,
        now=tank_side.now,
    )
    phone.context.grant_permissions(["geolocation"], origin=tank_side.server.url)
    phone.context.set_geolocation({"latitude": 57.04123456, "longitude": -6.5, "accuracy": 11.2})
    open_tank(phone, tank_side, "/tank/slip")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Field slip")
    phone.context.set_offline(True)
    return phone


def write(page: Page, card: int, **numbers: str) -> None:
    """Fills the boxes of the nth name."""
    group = page.locator("fieldset.card").nth(card)
    for label, value in numbers.items():
        group.get_by_label(label.replace("_", " "), exact=True).fill(value)


def save(page: Page) -> None:
    page.get_by_role("button", name="Save the slip").click()


def test_a_slip_written_without_signal_is_one_trip(boat: Page, tank_side: TankSide) -> None:
    expect(boat.get_by_label("Permit", exact=True)).to_have_value("P 7")
    boat.get_by_label("Place in words").fill("off the point")
    boat.get_by_role("button", name="Position of this device").click()
    expect(boat.get_by_label("Latitude")).to_have_value("57.041235")
    expect(boat.get_by_label("Within, m")).to_have_value("12")
    boat.get_by_label("Gear, several with commas").fill("hand net")
    boat.get_by_label("Boat").fill("Tern")
    boat.get_by_role("button", name="Two-spotted goby").click()
    expect(boat.locator("fieldset.card").get_by_label("Name, as you")).to_have_value("Two-spotted goby")
    write(boat, 0, Caught="5", Let_go="1", Died="1", Kept="3")
    boat.get_by_role("button", name="Another name").click()
    boat.locator("fieldset.card").nth(1).get_by_label("Name, as you").fill("wee brown crab")
    write(boat, 1, Let_go="2")
    boat.locator("fieldset.card").nth(1).get_by_label("By-catch").check()
    expect(boat.locator(".limits")).to_contain_text("4 on this slip; 6 left")
    expect(boat.locator(".limits")).to_contain_text("Not on its lines by this name: wee brown crab")
    assert violations(boat) == []
    save(boat)
    expect(boat.locator("p.big")).to_contain_text("Not yet sent")
    expect(boat.get_by_role("heading", level=1)).to_have_text(
        "field slip, P 7, off the point: 7 caught, 3 let go, 1 died, 3 kept"
    )
    assert violations(boat) == []
    assert not Trip.objects.exists()
    boat.context.set_offline(False)
    all_sent(boat)
    expect(boat.locator("p.big")).to_contain_text("Saved and sent")
    trip = Trip.objects.get()
    assert (str(trip.latitude), str(trip.longitude), trip.datum, trip.uncertainty_m) == (
        "57.041235", "-6.500000", "WGS84", 12,
    )  # fmt: skip
    assert (trip.gear, trip.vessel, trip.device) == ("hand net", "Tern", "Blue")
    assert [one.person for one in trip.people.all()] == [tank_side.aquarist]
    found = Take.objects.order_by("id").values_list(
        "verbatim_identification", "caught", "let_go", "died", "kept", "bycatch"
    )
    assert list(found) == [("Two-spotted goby", 5, 1, 1, 3, False), ("wee brown crab", 2, 2, 0, 0, True)]
    # No tank was named, so the desk brings the three into the stock.
    assert not Event.objects.filter(kind="taken").exists()


def test_the_permit_warns_and_never_stops(boat: Page, tank_side: TankSide) -> None:
    boat.get_by_label("Gear, several with commas").fill("trawl")
    boat.get_by_label("Ade Quillanter").check()
    boat.get_by_role("button", name="Two-spotted goby").click()
    write(boat, 0, Kept="12")
    boat.get_by_role("button", name="Anemones, any, together").click()
    boat.locator("fieldset.card").nth(1).get_by_label("Name, as you").fill("dahlia")
    write(boat, 1, Died="2")
    warned = boat.locator(".limits .warn")
    for words in ("2 more than the permit allows", "P 7 allows: hand net, creel", "Not named on P 7: Ade Q"):
        expect(warned).to_contain_text(words)
    expect(boat.locator(".limits .notes")).to_contain_text("Anemones, any, together: 2 on this slip; 4 left")
    boat.get_by_label("Those kept go to").last.select_option("Q1")
    save(boat)
    expect(boat.locator("p.big")).to_contain_text("Not yet sent")
    # The next slip knows of the one that waits.
    boat.get_by_role("button", name="Another slip").click()
    boat.get_by_role("button", name="Two-spotted goby").click()
    write(boat, 0, Kept="1")
    expect(warned).to_contain_text("1 on this slip, 12 on slips not yet sent; 3 more than the permit allows")
    boat.context.set_offline(False)
    all_sent(boat)
    assert {case.kind for case in Case.objects.all()} >= {"over_limit", "gear", "not_named"}
    assert Event.objects.filter(kind="taken").count() == 1


def test_a_slip_under_way_outlives_the_page_and_stays_its_writers(boat: Page, tank_side: TankSide) -> None:
    boat.get_by_label("Place in words").fill("the skerries")
    boat.get_by_role("button", name="Two-spotted goby").click()
    write(boat, 0, Let_go="2")
    # The disk has it a moment after the key; a battery that dies in between costs that key.
    kept = f"import('/static/tankside/store.js').then(it => it.kept('slip:{tank_side.aquarist.pk}'))"
    until(boat, f"{kept}.then(draft => draft?.takes[0]?.let_go === '2')")
    boat.reload()
    expect(boat.get_by_label("Place in words")).to_have_value("the skerries")
    expect(boat.locator("fieldset.card").get_by_label("Let go")).to_have_value("2")
    boat.context.set_offline(False)
    boat.get_by_role("button", name="change person").click()
    choose(boat, "Ade")
    expect(boat.get_by_label("Place in words")).to_have_value("")
    boat.get_by_role("button", name="change person").click()
    choose(boat, "Jory")
    expect(boat.get_by_label("Place in words")).to_have_value("the skerries")


@pytest.mark.parametrize(
    ("box", "typed", "says"),
    [
        ("Latitude", "north", "The latitude is no number"),
        ("Latitude", "97.5", "Are the two swapped?"),
        ("Latitude", "57,04", "Give both latitude and longitude"),
        ("Caught", "9", "9 caught, but 1 let go, 0 died and 0 kept are 1"),
        ("Kept", "two", "“two” is no whole number"),
    ],
)
def test_what_cannot_be_is_told_on_the_boat(boat: Page, box: str, typed: str, says: str) -> None:
    boat.get_by_role("button", name="Two-spotted goby").click()
    write(boat, 0, Let_go="1")
    boat.get_by_label(box, exact=True).fill(typed)
    if box == "Latitude" and typed != "57,04":
        boat.get_by_label("Longitude").fill("-6")
    save(boat)
    expect(boat.get_by_role("alert")).to_contain_text(says)
    assert rows(boat) == []


def test_one_that_came_back_is_mended_and_is_one_trip(boat: Page, tank_side: TankSide) -> None:
    boat.get_by_label("Permit", exact=True).select_option("other")
    boat.get_by_label("Number of the permit").fill("P 9")
    boat.get_by_role("button", name="Another name").click()
    boat.locator("fieldset.card").get_by_label("Name, as you").fill("sprat")
    write(boat, 0, Let_go="4")
    save(boat)
    boat.context.set_offline(False)
    all_sent(boat)
    expect(boat.get_by_text("there is no permit 'P 9'")).to_be_visible()
    boat.get_by_role("button", name="Mend it").click()
    expect(boat.get_by_label("Number of the permit")).to_have_value("P 9")
    boat.get_by_label("Permit", exact=True).select_option("P 7")
    save(boat)
    all_sent(boat)
    expect(boat.locator("p.big")).to_contain_text("Saved and sent")
    assert [take.caught for take in Take.objects.all()] == [4]
    boat.goto(f"{tank_side.server.url}/tank/#entries")
    expect(boat.get_by_text("Came back to you: 0")).to_be_visible()


def test_the_slip_fits_the_phone_and_a_wet_hand(boat: Page) -> None:
    boat.get_by_role("button", name="Two-spotted goby").click()
    small = boat.locator("main button, main input:visible, main select").evaluate_all(
        "all => all.filter(one => one.type !== 'checkbox').map(one => one.getBoundingClientRect())"
        ".filter(box => box.width).map(box => [Math.round(box.width), Math.round(box.height)])"
    )
    assert [box for box in small if min(box) < TOUCH_PX] == []
    assert boat.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    assert re.search("Count", boat.locator("footer nav").inner_text())
