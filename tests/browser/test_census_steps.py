"""A registrar's day in a real browser: opening, what came back, what waits, signing without a sample."""

import os
from datetime import date
from uuid import uuid4

import pytest
from django.urls import reverse
from playwright.sync_api import Page, expect

from census.rounds.actions.approving import ask_approval
from census.rounds.actions.decide import decide_line
from census.rounds.models import Census, CountEntry
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How
from inventory.people.actions.devices import make_device
from inventory.people.models import DeviceScope

from ..rounds.house import NOW, ZONE, TestHouse
from .test_census_papers import _sign_in
from .test_procedure_pages import house, looked_at

pytestmark = pytest.mark.browser
__all__ = ["house"]


def came_back(house: TestHouse, census: Census) -> None:
    """A count that Bror's telephone sent for a sheet that is not his."""
    sheet = census.sheets.order_by("number")[0]
    entry = {
        "sheet": sheet.number,
        "person": house.second.pk,
        "saved_at": NOW.isoformat(),
        "lines": [{"line": 3, "value": 6, "counted_at": NOW.isoformat(), "remark": "two behind the pump"}],
        "written_in": [{"name": "a long thin fish", "value": 1, "counted_at": NOW.isoformat()}],
    }
    identifier = uuid4()
    words = f"{sheet.number} is not issued to Bror; ask the registrar"
    CountEntry.objects.create(
        identifier=identifier,
        content_hash="0" * 64,
        device=make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=house.registrar, now=NOW),
        person=house.second,
        sheet=sheet,
        saved_at=NOW,
        received_at=NOW,
        body={**entry, "identifier": str(identifier)},
        came_back=True,
        answer={"problems": [{"field": "sheet", "words": words}]},
    )


def test_what_waits_is_tagged_and_what_came_back_is_set_aside(
    page: Page, house: TestHouse, live_server: object
) -> None:
    census = house.compared({"goby": 6, "bib": 10})
    house.count(census, {"bib": 10}, round=2)
    query = Settling(how=How.OPEN_QUERY, owner=house.registrar.name, due=date(2026, 10, 20))
    decide_line(line=house.line(census, "goby"), settling=query, by=house.registrar, now=NOW, zone=ZONE)
    lost = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-12, note="pump stood")
    ask_approval(line=house.line(census, "bib"), settling=lost, by=house.registrar, now=NOW, zone=ZONE)
    came_back(house, census)
    _sign_in(page, f"{live_server}", house.registrar)
    address = reverse("differences", args=[census.code])
    pages = [
        f"{address}?show=waiting",
        f"{address}?show=care",
        reverse("counts_came_back"),
        reverse("census_charts", args=[census.code]),
    ]
    assert {url: looked_at(page, f"{live_server}{url}") for url in pages} == {url: [] for url in pages}
    page.goto(f"{live_server}{reverse('counts_came_back')}")
    page.get_by_label("Set aside, because").select_option("nothing")
    page.get_by_label("Why", exact=True).fill("counted by Alda that morning")
    page.get_by_role("button", name="Set aside").click()
    expect(page.get_by_text("nothing of it is to be entered: counted by Alda that morning")).to_be_visible()
    assert looked_at(page, page.url) == []


def test_a_census_is_opened_with_its_classes_and_keepers(
    page: Page, house: TestHouse, live_server: object
) -> None:
    _sign_in(page, f"{live_server}", house.registrar)
    page.set_viewport_size({"width": 360, "height": 800})
    page.goto(f"{live_server}{reverse('census_list')}")
    page.get_by_text("Open a census", exact=True).click()
    page.get_by_label("Period").fill("2026 Q3")
    page.get_by_label("D: presence only").uncheck()
    page.get_by_label("Name the keepers").check()
    page.get_by_label("K1").check()
    if folder := os.environ.get("TIDETALLY_LOOK"):
        page.screenshot(path=f"{folder}/opening-360.png", full_page=True)
    page.get_by_role("button", name="Open the census").click()
    expect(page.get_by_text("with the cut-off at the end of 30 September 2026")).to_be_visible()
    expect(page.get_by_text("Class D is not counted in it.")).to_be_visible()
    expect(page.get_by_text("no counter is named").first).to_be_visible()
    assert looked_at(page, page.url) == []


def test_the_curator_who_signs_without_a_sample_says_why(
    page: Page, house: TestHouse, live_server: object
) -> None:
    census = house.compared({})
    _sign_in(page, f"{live_server}", house.curator)
    address = f"{live_server}{reverse('census_sign', args=[census.code])}"
    assert looked_at(page, address) == []
    page.set_viewport_size({"width": 360, "height": 800})
    page.get_by_role("button", name="Sign and close 2026 Q3").click()
    expect(page.get_by_text("Nothing was done. No sample test was drawn")).to_be_visible()
    page.get_by_label("Why it is signed without a sample test").fill("nobody else was in the house")
    page.get_by_role("button", name="Sign and close 2026 Q3").click()
    expect(page.get_by_text("2026 Q3 version 1 is closed").first).to_be_visible()
    expect(page.get_by_text("nobody else was in the house")).to_be_visible()
