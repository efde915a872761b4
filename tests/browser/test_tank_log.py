"""Tank log, labels, my tanks and quarantine in a browser: no barrier, fits a phone, charts for two widths."""

import io
import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from inventory.book.actions.keeping import set_keepers
from inventory.doors import clock
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from inventory.tankside.actions.quarantine import set_least_days
from inventory.tankside.actions.readings import take_reading, want_range
from inventory.tankside.models import Reading

from .. import factories
from .test_pages import PASSWORD, violations

pytestmark = pytest.mark.browser
URLS = (
    "/my-tanks", "/place/E02/log", "/place/E02/wanted", "/tank-logs", "/quarantine", "/labels?text=a",
    "/keepers/E02",
)  # fmt: skip


@pytest.fixture
def keeper(transactional_db: None) -> Person:
    """A keeper of one hall with readings around a gap, a death, a value outside, and a stay that ends."""
    now = clock.now()
    person = factories.make_person("Ade Quillanter", roles=list(Role), password=PASSWORD)
    factories.make_house(registrar=person, name="Skerry Aquarium")
    hall = factories.make_place("E02", kind="exhibit", name="Kelp Hall")
    ward = factories.make_place("Q1", kind="quarantine", name="Quarantine fish")
    for place in (hall, ward):
        set_keepers(place=place, keepers=[person], since=date(2026, 1, 1))
    lot = factories.make_lot("A001", taxon=factories.make_taxon("Labrus mixtus", common_name="cuckoo wrasse"))
    day = now.date() - timedelta(days=4)
    stated: dict[str, Any] = {"lot": lot, "entered_by": person, "now": now}
    factories.make_event("received", place=hall, unknown=30, happened=f"{day - timedelta(days=90)}", **stated)
    factories.make_event("died", place=hall, unknown=3, happened=f"{day}", **stated)
    factories.make_event("born", place=hall, unknown=5, happened=f"{day}", **stated)
    other = factories.make_lot("A002")
    factories.make_event(
        "received", lot=other, place=ward, unknown=4, happened=f"{day - timedelta(days=60)}",
        entered_by=person, now=now,
    )  # fmt: skip
    set_least_days(group="", min_days=30, since=day, source="plan of the house", by=person, now=now)
    want_range(
        place=hall, quantity="temperature", unit="°C", low=Decimal(8), high=Decimal(11),
        since=day - timedelta(days=90), by=person, now=now,
    )  # fmt: skip
    for back, value in ((20, "9.1"), (19, "9.3"), (10, "9.9"), (9, "12.4"), (1, "14.2")):
        take_reading(
            identifier=uuid4(), place="E02", quantity="temperature", value=value, unit="°C",
            taken_at=now - timedelta(days=back), by=person, now=now,
        )  # fmt: skip
    return person


@pytest.fixture
def signed_in(page: Page, keeper: Person, live_server: object) -> Page:
    assert keeper.user is not None
    page.goto(f"{live_server}/sign-in")
    page.get_by_label("Sign-in name").fill(keeper.user.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{live_server}/")
    return page


def test_the_pages_have_no_barrier_and_fit_a_phone_by_day_and_by_night(
    signed_in: Page, live_server: object
) -> None:
    found: dict[str, object] = {}
    for url in URLS:
        for width, scheme in ((1280, "light"), (360, "light"), (360, "dark")):
            signed_in.set_viewport_size({"width": width, "height": 740})
            signed_in.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            signed_in.goto(f"{live_server}{url}")
            barriers = violations(signed_in)
            wide = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
            if barriers or signed_in.evaluate(wide):
                found[f"{url} {width} {scheme}"] = barriers or "wider than the screen"
    assert found == {}


@pytest.mark.parametrize(("width", "shown", "other"), [(1280, "wide", "narrow"), (360, "narrow", "wide")])
def test_one_drawing_is_shown_for_each_width_and_its_letters_can_be_read(
    signed_in: Page, live_server: object, width: int, shown: str, other: str
) -> None:
    signed_in.set_viewport_size({"width": width, "height": 740})
    signed_in.goto(f"{live_server}/place/E02/log")
    figure = signed_in.locator("figure.chart").first
    expect(figure.locator(f"svg.{shown}")).to_be_visible()
    expect(figure.locator(f"svg.{other}")).to_be_hidden()
    heights = figure.locator(f"svg.{shown} text").evaluate_all(
        "texts => texts.map(text => text.getBoundingClientRect().height)"
    )
    assert min(heights) >= 11
    box = figure.locator(f"svg.{shown}").bounding_box()
    assert box is not None
    assert box["width"] <= width


def test_the_chart_tells_itself_to_who_does_not_see_it(signed_in: Page, live_server: object) -> None:
    signed_in.goto(f"{live_server}/place/E02/log")
    chart = signed_in.get_by_role("img", name=re.compile("Temperature, °C, E02 Kelp Hall"))
    expect(chart).to_have_count(1)
    expect(chart.locator("desc")).to_contain_text("5 readings, lowest 9.1 °C, highest 14.2 °C; 2 outside")
    for shape, number in (
        ("polyline.line", 2),
        (".spot", 3),
        (".spot-outside", 2),
        (".death", 1),
        (".birth", 1),
    ):
        expect(chart.locator(shape)).to_have_count(number)


def test_a_reading_is_taken_with_the_keyboard_and_stands_in_chart_and_table(
    signed_in: Page, live_server: object
) -> None:
    signed_in.goto(f"{live_server}/place/E02/log")
    signed_in.get_by_role("textbox", name="Value").focus()
    signed_in.keyboard.type("10,1")
    signed_in.keyboard.press("Enter")
    expect(signed_in.get_by_role("status").first).to_contain_text("Kept: Temperature 10.1 °C, Kelp Hall")
    assert Reading.objects.filter(value="10.1").count() == 1
    expect(signed_in.get_by_role("row").filter(has_text="10.1 °C").first).to_be_visible()


def test_labels_of_what_is_ticked_come_as_a_pdf(signed_in: Page, live_server: object) -> None:
    signed_in.goto(f"{live_server}/labels?place=E02")
    signed_in.get_by_label("Find places and lots").fill("wrasse")
    signed_in.keyboard.press("Enter")
    signed_in.get_by_label("A001 Labrus mixtus").check()
    signed_in.get_by_role("combobox", name="Labels").select_option("a4-2x7")
    with signed_in.expect_download() as download:
        signed_in.get_by_role("button", name="Make the labels").click()
    assert download.value.suggested_filename == "labels.pdf"
    pdf = PdfReader(io.BytesIO(download.value.path().read_bytes()))
    text = pdf.pages[0].extract_text()
    assert "Kelp Hall" in text
    assert "cuckoo wrasse" in text


def test_my_tanks_tells_what_waits_on_this_device(signed_in: Page, live_server: object) -> None:
    signed_in.goto(f"{live_server}/my-tanks")
    expect(signed_in.get_by_text("ends today").or_(signed_in.get_by_text("was to end")).first).to_be_visible()
    expect(signed_in.locator("#unsent")).to_be_hidden()
    signed_in.route("**/api/v1/**", lambda route: route.abort())
    signed_in.evaluate(
        """async () => {
            const { addRow } = await import("/static/tankside/store.js");
            await addRow({
                identifier: crypto.randomUUID(), path: "/api/v1/entries", body: {}, words: "2 dead",
                author: { id: 1, name: "Ade Quillanter", initials: "AQ" },
                saved_at: new Date().toISOString(), state: "waiting", answer: null,
            });
        }"""
    )
    signed_in.reload()
    expect(signed_in.locator("#unsent")).to_have_text(
        "Not yet sent from this device: 1 entry, by Ade Quillanter."
    )
