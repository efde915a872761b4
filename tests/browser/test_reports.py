"""The layouts of the report in a browser: no barrier, and nothing wider than a phone but the tables."""

from io import BytesIO

import pytest
from django.contrib.auth.hashers import make_password
from django.urls import reverse
from playwright.sync_api import Page
from pypdf import PdfReader

from census.reports.queries.layouts import LAYOUTS
from inventory.people.rules.roles import Role

from ..change.sample import make_sample
from ..factories import make_house, make_person
from ..reports.conftest import OF_THE_HOUSE
from ..reports.printed import read_pages
from .test_pages import violations

pytestmark = pytest.mark.browser
# In points on paper; what a browser says of 7 points falls short of it by rounding.
SMALLEST = 6.9
PASSWORD = "weigh anchor at noon"
# Whether a region has an edge at its right, two frames after it was scrolled: by then it is drawn.
EDGE = r"""region => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(
    () => done(!/^(none|rgba\(0, 0, 0, 0\))/.test(getComputedStyle(region).boxShadow)))))"""
WIDER = "document.documentElement.scrollWidth > document.documentElement.clientWidth"


@pytest.fixture
def reader(page: Page, transactional_db: None, live_server: object) -> Page:
    """The small invented house, read by its inspector."""
    make_house(licence_number="ZL 12/2024")
    make_sample()
    person = make_person(roles=[Role.INSPECTOR])
    assert person.user is not None
    person.user.password = make_password(PASSWORD)
    person.user.save()
    page.goto(f"{live_server}/sign-in")
    page.get_by_label("Sign-in name").fill(person.user.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{live_server}/")
    return page


def test_each_layout_is_open_to_all_by_day_and_by_night(reader: Page, live_server: object) -> None:
    for layout in LAYOUTS:
        reader.emulate_media(color_scheme="light")
        reader.goto(_address(live_server, layout))
        if layout in OF_THE_HOUSE:
            assert reader.locator("table.ledger tbody tr").count() > 0, layout
        assert violations(reader) == [], layout
        reader.emulate_media(color_scheme="dark")
        assert violations(reader, only="color-contrast") == [], layout


def test_a_printed_report_lies_on_its_side_with_every_column_on_the_page(
    reader: Page, live_server: object
) -> None:
    """A sheet of A4 has 277 mm between its margins of 10 mm, 1,047 px of CSS."""
    reader.set_viewport_size({"width": 1047, "height": 718})
    reader.emulate_media(media="print")
    for layout in OF_THE_HOUSE:
        reader.goto(_address(live_server, layout))
        widths = reader.locator("table.ledger").evaluate_all("all => all.map(one => one.scrollWidth)")
        assert widths, layout
        assert max(widths) <= 1047, layout
    sheet = PdfReader(BytesIO(reader.pdf(prefer_css_page_size=True))).pages[0].mediabox
    assert (sheet.width, sheet.height) == pytest.approx((841.9, 595.3), abs=1)


def test_each_layout_fits_a_phone_and_the_animal_stays_beside_its_figures(
    reader: Page, live_server: object
) -> None:
    reader.set_viewport_size({"width": 360, "height": 740})
    for layout in LAYOUTS:
        address = _address(live_server, layout)
        # The columns of one quarter fit a phone whole; those of a year do not.
        reader.goto(address.replace("2026-07-01", "2025-10-01") if layout == "periods" else address)
        assert not reader.evaluate(WIDER), layout
        assert violations(reader) == [], layout
        if layout not in OF_THE_HOUSE:
            continue
        table = reader.locator(".scroll").first
        table.evaluate("region => { region.scrollLeft = region.scrollWidth }")
        assert table.evaluate("region => region.scrollLeft") > 0, layout
        name = table.locator("tbody th[scope=row]").first.bounding_box()
        assert name is not None
        assert 0 <= name["x"] < 360 - name["width"], layout


def _address(live_server: object, layout: str) -> str:
    return f"{live_server}{reverse('report', args=[layout])}?first_day=2026-07-01&last_day=2026-09-30"


def test_a_page_printed_by_the_browser_counts_its_pages_and_tells_a_total_once(
    reader: Page, live_server: object
) -> None:
    reader.goto(_address(live_server, "taxa"))
    pages = read_pages(reader.pdf(format="A4", prefer_css_page_size=True))
    words = [" ".join(" ".join(run.text for run in page).split()) for page in pages]
    for number, text in enumerate(words, start=1):
        assert f"page {number} of {len(pages)}" in text
    tables = reader.locator("table.ledger tfoot").count()
    assert sum(text.count("Total") for text in words) == tables
    assert min(run.size for page in pages for run in page if run.text.strip()) >= SMALLEST


def test_a_table_that_goes_on_beyond_the_edge_says_so_until_its_end_is_seen(
    reader: Page, live_server: object
) -> None:
    """By an edge at its right; a table that ends on the page has none."""
    reader.set_viewport_size({"width": 360, "height": 740})
    reader.goto(_address(live_server, "taxa"))
    table = reader.locator(".scroll").first
    assert table.evaluate(EDGE)
    table.evaluate("region => { region.scrollLeft = region.scrollWidth }")
    assert not table.evaluate(EDGE)
    table.evaluate("region => { region.innerHTML = '' }")
    assert not table.evaluate(EDGE)


def test_on_a_telephone_the_first_figure_stands_beside_an_animal_and_its_source(
    reader: Page, live_server: object
) -> None:
    reader.set_viewport_size({"width": 360, "height": 740})
    reader.goto(f"{live_server}/change?first_day=2026-07-01&last_day=2026-09-30&by=source")
    figure = reader.locator("table.ledger tbody tr td.num").first.bounding_box()
    assert figure is not None
    assert figure["x"] + figure["width"] <= 360
