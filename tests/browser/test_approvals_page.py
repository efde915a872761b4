"""The list of what waits for approval, as a curator has it on a phone."""

import pytest
from django.urls import reverse
from playwright.sync_api import Page

from census.rounds.actions.approving import ask_approval
from census.rounds.models import Decision
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How

from ..rounds.house import NOW, ZONE, TestHouse
from .test_census_papers import _sign_in
from .test_procedure_pages import house, looked_at

pytestmark = pytest.mark.browser
__all__ = ["house"]


def test_a_curator_approves_on_a_phone(page: Page, house: TestHouse, live_server: object) -> None:
    census = house.compared({"bib": 15})
    house.count(census, {"bib": 15}, round=2)
    line = house.line(census, "bib")
    lost = Settling(
        how=How.ADJUSTMENT, reason="unexplained loss", n=-7, evidence="sheet 1", note="pump stood"
    )
    ask_approval(line=line, settling=lost, by=house.registrar, now=NOW, zone=ZONE)
    _sign_in(page, f"{live_server}", house.curator)
    pages = [
        reverse("approvals"),
        reverse("census_line", args=[line.sheet.number, line.number]),
        reverse("census", args=[census.code]),
    ]
    assert {url: looked_at(page, f"{live_server}{url}") for url in pages} == {url: [] for url in pages}
    page.set_viewport_size({"width": 360, "height": 800})
    page.goto(f"{live_server}{reverse('approvals')}")
    page.get_by_role("button", name=f"Approve {line}").click()
    assert page.get_by_text("approved, and posted").is_visible()
    assert Decision.objects.get().approved_by == house.curator
