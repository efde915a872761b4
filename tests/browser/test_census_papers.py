"""Charts, help with counting and papers of a sheet in a browser: no barrier, nothing wider than a phone."""

from collections.abc import Iterator

import pytest
from django.contrib.auth.hashers import make_password
from django.urls import reverse
from playwright.sync_api import Page

from census.rounds.actions.scans import attach_scans
from census.rounds.models import Sheet
from inventory.people.models import Person

from ..rounds.house import NOW, TestHouse, make_test_house
from .test_pages import violations

pytestmark = pytest.mark.browser
PASSWORD = "nets are drying now"


@pytest.fixture
def house(transactional_db: None) -> TestHouse:
    made = make_test_house()
    for person in (made.registrar, made.first):
        assert person.user is not None
        person.user.password = make_password(PASSWORD)
        person.user.save()
    return made


def _sign_in(page: Page, address: str, person: Person) -> None:
    assert person.user is not None
    page.goto(f"{address}/sign-in")
    page.get_by_label("Sign-in name").fill(person.user.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{address}/")


def _barriers(page: Page, url: str) -> Iterator[str]:
    page.set_viewport_size({"width": 1280, "height": 800})
    page.emulate_media(color_scheme="light")
    response = page.goto(url)
    assert response is not None
    assert response.status == 200, url
    yield from violations(page)
    page.set_viewport_size({"width": 360, "height": 740})
    if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
        yield "wider than a phone"
    page.emulate_media(color_scheme="dark")
    yield from violations(page, only="color-contrast")


def test_charts_are_open_to_all_and_fit_a_phone(page: Page, house: TestHouse, live_server: object) -> None:
    census = house.compared({"goby": 9, "shoal": 400, "bib": 30})
    _sign_in(page, f"{live_server}", house.registrar)
    for name in ("census_charts", "census_drift"):
        more = ["Clupea harengus"] if name == "census_drift" else []
        url = f"{live_server}{reverse(name, args=[census.code, *more])}"
        assert list(_barriers(page, url)) == []
        charts = page.get_by_role("img")
        assert charts.count() == page.locator("figure.chart").count() > 0
        for chart in charts.all():
            box = chart.bounding_box()
            assert box is not None
            assert 250 < box["width"] <= 360


def test_who_counts_a_shoal_is_asked_plainly_and_the_line_is_filled_in(
    page: Page, house: TestHouse, live_server: object
) -> None:
    census = house.opened_and_issued()
    sheet = Sheet.objects.get(census=census, number=f"{census.code}-01")
    attach_scans(sheet=sheet, files=[("paper.pdf", b"%PDF-1.7")], by=house.first, now=NOW)
    line = house.line(census, "shoal")
    _sign_in(page, f"{live_server}", house.first)
    address = f"{live_server}{reverse('sheet', args=[sheet.number])}"
    assert list(_barriers(page, address)) == []
    page.get_by_role("link", name=f"Hard to count? Line {line.number}", exact=True).click()
    assert list(_barriers(page, page.url)) == []
    page.get_by_role("link", name="Several passes, or several pictures").click()
    page.get_by_label("How many did you count each time?").fill("61 58 64")
    page.get_by_role("button", name="How many are there?").click()
    assert page.get_by_role("heading", name="About 61, between 58 and 64").is_visible()
    assert list(_barriers(page, page.url)) == []
    page.get_by_role("button", name=f"Write it on line {line.number}").click()
    page.wait_for_url(address)
    assert page.locator(f"#id_value_{line.number}").input_value() == "61"
