"""The preview of a release in a real browser: no barrier, no page too wide, and one lot answered in it."""

from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Page

from inventory.book.models import Lot
from inventory.names.actions.taxa import taxa_for
from inventory.people.models import Person

from .. import factories
from ..names.releases import Name, load_names
from .test_pages import SignIn, house, sign_in, violations

pytestmark = pytest.mark.browser
__all__ = ["house", "sign_in"]


@pytest.fixture
def lot(house: Person, tmp_path: Path) -> Lot:
    """A lot of a name that the loaded release splits; another is renamed."""
    old, split = Name("Gobiusculus flavescens"), Name("Zeta una")
    load_names(tmp_path, "2025", old, split)
    lots = []
    for taxon in taxa_for([old.name, split.name], now=factories.NOW).values():
        lots.append(factories.make_lot(taxon=taxon))
        factories.make_event(
            "received", lot=lots[-1], place="E02", unknown=3, permit_number="HISFB 1/24", entered_by=house
        )
    new, one, two = Name("Pomatoschistus flavescens"), Name("Alpha una"), Name("Beta una")
    load_names(
        tmp_path,
        "2026",
        new,
        one,
        two,
        replace(old, of=new.name),
        replace(split, of=one.name),
        replace(split, of=two.name, author="Tester,  1900"),
    )
    return lots[1]


def test_a_release_is_looked_at_and_taken_with_one_lot_answered(
    page: Page, sign_in: SignIn, live_server: object, lot: Lot
) -> None:
    sign_in(page)
    page.goto(f"{live_server}/backbone")
    page.get_by_role("link", name="What Small backbone 2026 would change").click()
    assert violations(page) == []
    page.set_viewport_size({"width": 360, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    page.emulate_media(color_scheme="dark")
    assert violations(page, only="color-contrast") == []
    page.get_by_label("This lot is").select_option("Beta una")
    page.get_by_role("button", name="Take Small backbone 2026 into use").click()
    page.wait_for_url(f"{live_server}/backbone")
    assert page.get_by_text("No count changed").is_visible()
    assert violations(page) == []
    lot.refresh_from_db()
    assert (lot.taxon.scientific_name, lot.held) == ("Beta una", 3)
