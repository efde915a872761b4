"""The pages of the populations in a browser: no barrier by day and by night, and all of it on a phone."""

import pytest
from django.contrib.auth.hashers import make_password
from playwright.sync_api import Page

from census.population.writers.methods import METHODS
from inventory.people.rules.roles import Role

from ..change.sample import make_sample
from ..factories import make_house, make_person
from .test_pages import violations

pytestmark = pytest.mark.browser
PASSWORD = "weigh anchor at noon"
WIDER = "document.documentElement.scrollWidth > document.documentElement.clientWidth"
ASKED = "first_day=2026-07-01&last_day=2026-09-30"


@pytest.fixture
def reader(page: Page, transactional_db: None, live_server: object) -> Page:
    """The small invented house, read by its inspector."""
    make_house()
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


def test_each_page_is_open_to_all_by_day_by_night_and_on_a_phone(reader: Page, live_server: object) -> None:
    for name in METHODS:
        reader.set_viewport_size({"width": 1280, "height": 900})
        reader.emulate_media(color_scheme="light")
        reader.goto(f"{live_server}/populations/{name}?{ASKED}")
        # What is folded away is checked as well.
        reader.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        assert violations(reader) == [], name
        reader.emulate_media(color_scheme="dark")
        assert violations(reader, only="color-contrast") == [], name
        reader.set_viewport_size({"width": 360, "height": 740})
        assert not reader.evaluate(WIDER), name
        assert violations(reader) == [], name
