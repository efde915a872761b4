"""The review queue by keyboard only, in a real browser: ten names, twenty key presses."""

import pytest
from playwright.sync_api import Page

from inventory.names.actions.backbone import load_release
from inventory.names.actions.taxa import taxa_for
from inventory.names.models import NameCheck, NameDecision
from inventory.people.models import Person

from .. import factories
from ..names.stores import BACKBONE
from .test_pages import SignIn, house, sign_in, violations

pytestmark = pytest.mark.browser
__all__ = ["house", "sign_in"]

# One edit away from a name of the demo's backbone, or a common name of several; the key of the right answer.
NAMES = [
    ("Carcinus meanas", "Carcinus maenas"),
    ("Anarhicas lupus", "Anarhichas lupus"),
    ("dogfish", "Scyliorhinus canicula"),
    ("Gadus morrhua", "Gadus morhua"),
    ("sea snail", "Liparis liparis"),
    ("Pollachius virrens", "Pollachius virens"),
    ("Labrus bergilta", "Labrus bergylta"),
    ("Labrus mixtis", "Labrus mixtus"),
    ("Symphodus mellops", "Symphodus melops"),
    ("Trisopterus luscs", "Trisopterus luscus"),
]


@pytest.fixture
def queue(house: Person) -> list[NameCheck]:
    """Ten doubtful names, with animals in a tank."""
    load_release(BACKBONE, now=factories.NOW)
    for typed, _ in NAMES:
        lot = factories.make_lot(taxon=taxa_for([typed], now=factories.NOW)[typed])
        factories.make_event("received", lot=lot, place="E02", unknown=3, entered_by=house)
    return list(NameCheck.objects.order_by("id"))


class Keyboard:
    """Counts the keys that are pressed."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.presses = 0

    def press(self, key: str) -> None:
        self.page.keyboard.press(key)
        self.presses += 1


def key_of(page: Page, name: str) -> str:
    """The number beside the answer of this name, as a person reads it."""
    return page.locator("label.answer", has_text=name).first.locator("kbd").inner_text()


def test_ten_names_are_decided_with_two_keys_each(
    page: Page, sign_in: SignIn, live_server: object, queue: list[NameCheck]
) -> None:
    sign_in(page)
    page.goto(f"{live_server}/names/next")
    keys = Keyboard(page)
    for number, (check, (typed, name)) in enumerate(zip(queue, NAMES, strict=True), start=1):
        page.wait_for_url(f"{live_server}/names/{check.pk}")
        assert page.get_by_role("heading", level=1).inner_text() == f"“{typed}”"
        assert page.get_by_text(f"{number} of {len(NAMES)}", exact=True).is_visible()
        key = key_of(page, name)
        keys.press(key)
        keys.press("Enter")
    page.wait_for_url(f"{live_server}/names")
    decided = NameDecision.objects.order_by("id").values_list("check_of__typed", "scientific_name")
    assert list(decided) == NAMES
    assert keys.presses == 2 * len(NAMES)


def test_enter_alone_decides_nothing(
    page: Page, sign_in: SignIn, live_server: object, queue: list[NameCheck]
) -> None:
    sign_in(page)
    page.goto(f"{live_server}/names/{queue[0].pk}")
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    assert page.url == f"{live_server}/names/{queue[0].pk}"
    assert not NameDecision.objects.exists()


def test_skip_and_undo_are_one_key_each_and_letters_in_a_box_are_letters(
    page: Page, sign_in: SignIn, live_server: object, queue: list[NameCheck]
) -> None:
    sign_in(page)
    first, second, third = (f"{live_server}/names/{check.pk}" for check in queue[:3])
    page.goto(first)
    page.keyboard.press("s")
    page.wait_for_url(second)
    assert page.get_by_text(", 1 skipped").is_visible()
    page.keyboard.press("1")
    page.keyboard.press("Enter")
    page.wait_for_url(third)
    page.keyboard.press("u")
    page.wait_for_url(second)
    assert page.get_by_text("Undone: “Anarhicas lupus” is open again.").is_visible()
    page.get_by_label("Why (needed").focus()
    page.keyboard.type("su1")
    assert page.get_by_label("Why (needed").input_value() == "su1"
    assert page.url == second
    # Another name: its number leads to its box, Enter in the box decides.
    page.keyboard.press("Escape")
    page.keyboard.press(key_of(page, "Another name"))
    page.keyboard.type("Gadus morhua")
    page.keyboard.press("Enter")
    page.wait_for_url(third)
    assert NameDecision.objects.latest("id").scientific_name == "Gadus morhua"


def test_keys_can_be_switched_off_and_stay_off(
    page: Page, sign_in: SignIn, live_server: object, queue: list[NameCheck]
) -> None:
    """Single letters as keys can be turned off: WCAG 2.2, success criterion 2.1.4."""
    sign_in(page)
    url = f"{live_server}/names/{queue[0].pk}"
    page.goto(url)
    page.get_by_label("Use keys").uncheck()
    for _ in range(2):
        page.keyboard.press("s")
        page.keyboard.press("1")
        page.wait_for_timeout(200)
        assert page.url == url
        assert page.locator("input[type=radio]:checked").count() == 0
        page.goto(url)
    page.get_by_label("Use keys").check()
    page.keyboard.press("s")
    page.wait_for_url(f"{live_server}/names/{queue[1].pk}")


def test_names_are_decided_without_any_script(
    browser: object, sign_in: SignIn, live_server: object, queue: list[NameCheck]
) -> None:
    context = browser.new_context(java_script_enabled=False)  # type: ignore[attr-defined]
    page = context.new_page()
    sign_in(page)
    page.goto(f"{live_server}/names/{queue[0].pk}")
    assert not page.get_by_text("Use keys").is_visible()
    page.get_by_label("Yes, the suggestion: Carcinus maenas").check()
    page.get_by_role("button", name="Decide").click()
    page.wait_for_url(f"{live_server}/names/{queue[1].pk}")
    page.get_by_role("button", name="Skip this name").click()
    page.wait_for_url(f"{live_server}/names/{queue[2].pk}")
    page.get_by_role("button", name="Undo").click()
    page.wait_for_url(f"{live_server}/names/{queue[0].pk}")
    context.close()


def test_the_pages_of_names_have_no_barrier_and_fit_a_phone(
    page: Page, sign_in: SignIn, live_server: object, queue: list[NameCheck]
) -> None:
    sign_in(page)
    barriers, too_wide = {}, []
    page.goto(f"{live_server}/names/{queue[0].pk}")
    page.keyboard.press("1")
    page.keyboard.press("Enter")
    page.wait_for_url(f"{live_server}/names/{queue[1].pk}")
    for path in ("names", "names/check", *(f"names/{check.pk}" for check in queue[:5])):
        page.set_viewport_size({"width": 1280, "height": 800})
        page.emulate_media(color_scheme="light")
        page.goto(f"{live_server}/{path}")
        barriers[path] = violations(page)
        page.set_viewport_size({"width": 360, "height": 740})
        if page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth"):
            too_wide.append(path)
        page.emulate_media(color_scheme="dark")
        barriers[f"{path} (dark, narrow)"] = violations(page, only="color-contrast")
    assert {path: found for path, found in barriers.items() if found} == {}
    assert too_wide == []
