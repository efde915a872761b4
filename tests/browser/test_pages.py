"""Every page in a real browser: quiet console, no barrier, nothing wider than a phone.

Rules of accessibility: axe-core's own (WCAG 2.0 to 2.2, levels A and AA, and its best practices),
as packaged in axe-core-python.
"""

import re
from collections.abc import Callable, Iterator
from datetime import date
from pathlib import Path

import pytest
from axe_core_python.sync_playwright import Axe  # type: ignore[import-untyped]
from playwright.sync_api import Page

from inventory.book.models import Event
from inventory.names.actions.lists import load_lists
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from .. import factories

pytestmark = pytest.mark.browser

LISTS = Path(__file__).resolve().parents[2] / "fixtures" / "lists"
PASSWORD = "wet hands, no signal"
# Pages of one lot, one event and so on are many; a few of each kind stand for all.
OF_EACH_KIND = 2
SignIn = Callable[[Page], None]


@pytest.fixture
def house(transactional_db: None) -> Person:
    """A house whose registrar has something to look at on every page of the book."""
    registrar = factories.make_person("Maren Tolvsund", roles=list(Role), password=PASSWORD)
    factories.make_person("Osric Fennadale", roles=[Role.CURATOR])
    factories.make_house(registrar=registrar, name="Skerry Aquarium")
    hall = factories.make_place("E02", kind="exhibit", name="Kelp Hall")
    factories.make_place("E02a", name="The den", parent=hall, joined_set="E02+E02a")
    factories.make_place("Q1", kind="quarantine", name="Quarantine fish")
    for number in range(60):
        lot = factories.make_lot(f"A{number:03}", taxon=factories.make_taxon(common_name="a fish"))
        factories.make_event("received", lot=lot, place=hall, males=1, females=2, entered_by=registrar)
    factories.make_event("died", lot="A001", place=hall, unknown=9, entered_by=registrar)
    death = factories.make_event("died", lot="A002", place=hall, females=1, entered_by=registrar)
    factories.make_reversal(death, entered_by=registrar)
    factories.make_event("moved", lot="A003", place=hall, to_place="Q1", females=1, entered_by=registrar)
    load_lists(LISTS, now=factories.NOW)
    taxon = factories.make_taxon("Conger conger", kingdom="Animalia", family="Congridae")
    conger = factories.make_lot("A100", taxon=taxon, kind="individual", house_name="Thole")
    factories.make_event("received", lot=conger, place=hall, females=1, entered_by=registrar)
    factories.make_event("missing", lot=conger, place=hall, females=1, entered_by=registrar)
    return registrar


@pytest.fixture
def sign_in(house: Person, live_server: object) -> SignIn:
    """Signs in as the person with all roles, as a person does it."""

    def signed_in(page: Page) -> None:
        assert house.user is not None
        page.goto(f"{live_server}/sign-in")
        page.get_by_label("Sign-in name").fill(house.user.username)
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url(f"{live_server}/")

    return signed_in


def walk(page: Page, start: str) -> Iterator[str]:
    """Opens what is reached from ``start`` by links, a few of each kind; gives each address when open."""
    found: set[str] = set()
    waiting = [start]
    seen: dict[str, int] = {}
    while waiting:
        url = waiting.pop(0)
        response = page.goto(url)
        assert response is not None
        assert response.status == 200, f"{url}: {response.status}"
        found.add(url)
        for href in page.locator("a[href]").evaluate_all("links => links.map(a => a.href.split('#')[0])"):
            kind = re.sub(r"A\d+|\d+|E02a?|Q1|=[^&]*", "*", href.removeprefix(start))
            if not href.startswith(start) or href in found or href in waiting:
                continue
            if seen.setdefault(kind, 0) < OF_EACH_KIND and not _is_file(href):
                seen[kind] += 1
                waiting.append(href)
        yield url


def _is_file(href: str) -> bool:
    """A workbook or a csv to save: no page."""
    name = href.rpartition("/")[2].partition("?")[0]
    return "." in name or "format=" in href or "/whole-book/" in href


def test_every_page_is_quiet_open_to_all_and_fits_a_phone(
    page: Page, sign_in: SignIn, live_server: object
) -> None:
    """One walk over the whole house, in the light, on a phone and in a dark gallery."""
    page.goto(f"{live_server}/sign-in")
    barriers = {"sign-in": violations(page)}
    sign_in(page)
    urls, too_wide = [], []
    for url in walk(page, f"{live_server}/"):
        urls.append(url)
        barriers[url] = violations(page)
        page.set_viewport_size({"width": 360, "height": 740})
        if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
            too_wide.append(url)
        page.emulate_media(color_scheme="dark")
        barriers[f"{url} (dark, narrow)"] = violations(page, only="color-contrast")
        page.set_viewport_size({"width": 1280, "height": 800})
        page.emulate_media(color_scheme="light")
    for name in (
        "lots",
        "places",
        "lot/A",
        "place/",
        "taxon/Conger",
        "event/",
        "record/",
        "take-back",
        "below-zero",
    ):
        assert any(name in url for url in urls), f"no link leads to {name}"
    assert {url: found for url, found in barriers.items() if found} == {}
    assert too_wide == []


def violations(page: Page, *, only: str = "") -> list[str]:
    """What axe-core finds: the rule and the first element of each. ``only``: this rule alone."""
    # What holds is not told element by element: it costs more than the look itself.
    options: dict[str, list[str]] = {"resultTypes": ["violations"]}
    if only:
        options["runOnly"] = [only]
    return [
        f"{found['id']}: {found['nodes'][0]['html'][:200]}"
        for found in Axe().run(page, options=options)["violations"]
    ]


def test_axe_sees_a_barrier_when_there_is_one(page: Page, live_server: object, db: None) -> None:
    """So that its silence on the pages means something."""
    page.goto(f"{live_server}/sign-in")
    page.evaluate("document.querySelector('label').remove()")
    assert any(found.startswith("label:") for found in violations(page))


def test_the_keyboard_reaches_the_page_past_the_navigation(
    page: Page, sign_in: SignIn, live_server: object
) -> None:
    sign_in(page)
    page.goto(f"{live_server}/lots")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the page"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")


def test_a_death_is_recorded_with_the_keyboard_alone(
    page: Page, sign_in: SignIn, live_server: object
) -> None:
    sign_in(page)
    page.goto(f"{live_server}/record/died/A004")
    page.get_by_label("Females").focus()
    page.keyboard.type("1")
    page.get_by_label("Day it happened").fill(f"{date(2026, 9, 20)}")
    page.get_by_label("Note").focus()
    page.keyboard.type("in the overflow")
    page.get_by_role("button", name="Save").focus()
    page.keyboard.press("Enter")
    page.wait_for_url(f"{live_server}/lot/A004")
    assert page.get_by_role("status").first.inner_text().startswith("Recorded as event")
    assert Event.objects.latest("id").note == "in the overflow"


def test_wide_tables_scroll_in_their_own_region(page: Page, sign_in: SignIn, live_server: object) -> None:
    sign_in(page)
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(f"{live_server}/lots")
    region = page.locator(".scroll").first
    assert region.evaluate("r => r.scrollWidth > r.clientWidth")
    region.focus()
    page.keyboard.press("ArrowRight")
    # Not wait_for_function: the page's policy forbids evaluating text, and is right.
    for _ in range(50):
        if region.evaluate("r => r.scrollLeft"):
            break
        page.wait_for_timeout(50)
    assert region.evaluate("r => r.scrollLeft") > 0
