"""Pages of the procedure in a real browser: no barrier, nothing wider than a phone, light and dark."""

import os
from pathlib import Path

import pytest
from django.contrib.auth.hashers import make_password
from django.urls import reverse
from playwright.sync_api import Page

from census.rounds.actions.drawing import draw_recounts, draw_sample
from census.rounds.actions.restating import ask_restatement
from census.rounds.actions.signing import sign
from inventory.book.models import Period
from tests import factories

from ..rounds.house import NOW, WITHOUT, ZONE, TestHouse, at, make_test_house
from ..rounds.test_written_in import written
from .test_census_papers import PASSWORD, _barriers, _sign_in

pytestmark = pytest.mark.browser


@pytest.fixture
def house(transactional_db: None) -> TestHouse:
    made = make_test_house()
    for person in (made.registrar, made.curator):
        assert person.user is not None
        person.user.password = make_password(PASSWORD)
        person.user.save()
    return made


def looked_at(page: Page, url: str) -> list[str]:
    """Barriers of a page; with TIDETALLY_LOOK a picture of each is kept there for people to look at."""
    found = list(_barriers(page, url))
    folder = os.environ.get("TIDETALLY_LOOK")
    if folder:
        name = url.split("/", 3)[3].replace("/", "-").replace("?", "-") or "first"
        for scheme, width in (("light", 1280), ("dark", 360)):
            page.set_viewport_size({"width": width, "height": 900})
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            page.screenshot(path=str(Path(folder) / f"{name}-{width}.png"), full_page=True)
    return found


def test_the_pages_of_the_procedure_have_no_barrier(
    page: Page, house: TestHouse, live_server: object
) -> None:
    census, line = written(house, "cushion star", 3, fewer={"goby": 6})
    draw_recounts(census=census, by=house.registrar, now=NOW, seed="ebb")
    draw_sample(census=census, by=house.registrar, now=NOW, seed="ebb")
    _sign_in(page, f"{live_server}", house.registrar)
    pages = [
        reverse("census", args=[census.code]),
        reverse("census_checks", args=[census.code]),
        reverse("census_sign", args=[census.code]),
        reverse("census_typing", args=[census.code]),
        reverse("written_in", args=[line.sheet.number, line.number]),
        reverse("numbers"),
        reverse("spot_counts"),
        reverse("notices"),
        reverse("census_list"),
    ]
    assert {url: looked_at(page, f"{live_server}{url}") for url in pages} == {url: [] for url in pages}


def test_a_period_with_late_entries_can_be_read_on_a_phone(
    page: Page, house: TestHouse, live_server: object
) -> None:
    sign(census=house.compared({}), by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)
    factories.make_event(
        "died",
        lot=house.lots["shoal"],
        place="K1",
        unknown=30,
        happened="2026-09-20",
        now=at("2026-10-20T09:00"),
    )
    period = Period.objects.get()
    ask_restatement(period=period, why="slip", by=house.registrar, now=at("2026-10-20T10:00"), zone=ZONE)
    _sign_in(page, f"{live_server}", house.curator)
    for url in (reverse("periods"), reverse("period", args=[period.code])):
        assert looked_at(page, f"{live_server}{url}") == []
    assert page.get_by_text("30 of a closing number of 420").is_visible()
