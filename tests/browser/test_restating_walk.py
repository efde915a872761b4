"""From version 1 to version 2 in a browser: a late death of class A opens its line, to be settled again."""

import pytest
import time_machine
from django.urls import reverse
from playwright.sync_api import Browser, Page, expect

from census.rounds.models import Census, Line
from census.rounds.queries.progress import accuracy_table
from census.rounds.queries.reading import read_census
from census.rounds.rules.settings import DEFAULTS
from inventory.book.models import Lot, PeriodVersion, VersionStatement
from inventory.people.models import Person
from tests import factories

from ..rounds.house import NOW, TestHouse, at
from .test_census_papers import _sign_in
from .test_procedure_pages import house, looked_at

pytestmark = pytest.mark.browser
__all__ = ["house"]

LATER = at("2026-10-20T09:00")
RESTATED = at("2026-10-21T09:00")


def as_(browser: Browser, address: str, person: Person) -> Page:
    """A page of a clean browser, signed in; what it says in the console is for the other tests."""
    page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
    page.set_default_timeout(20_000)
    _sign_in(page, address, person)
    return page


def papers(number: int) -> dict[str, bytes]:
    kept = VersionStatement.objects.filter(version__number=number)
    return {paper.name: bytes(paper.content) for paper in kept}


def downloaded(page: Page, address: str, number: int) -> dict[str, bytes]:
    """Every paper of a version as its link gives it."""
    names = VersionStatement.objects.filter(version__number=number).values_list("name", flat=True)
    return {
        name: page.request.get(f"{address}{reverse('period_paper', args=['2026 Q3', number, name])}").body()
        for name in names
    }


def address_of(live: object, name: str, *args: object) -> str:
    return f"{live}{reverse(name, args=args)}"


def sign_and_close(page: Page, signing: str) -> None:
    page.goto(signing)
    page.get_by_label("Why it is signed without a sample test").fill("nobody else was in the house")
    page.get_by_role("button", name="Sign and close 2026 Q3").click()
    expect(page.get_by_text("is signed:")).to_be_visible()


def ask_for_it(page: Page, period: str) -> None:
    page.goto(period)
    expect(page.get_by_text("1 of class A")).to_be_visible()
    page.get_by_label("Note").fill("body of Hawser found on 19 October")
    page.get_by_role("button", name="Ask the curator to restate").click()
    expect(page.get_by_text("The curator is asked to restate")).to_be_visible()


def approve_it(page: Page, period: str) -> None:
    page.goto(period)
    page.get_by_role("button", name="Approve: restate 2026 Q3").click()
    expect(page.get_by_text("open again until its census is signed").first).to_be_visible()


def settle_it(page: Page, signing: str, line: Line) -> None:
    page.goto(signing)
    page.get_by_role("link", name=f"{line}").first.click()
    page.get_by_text("observation only", exact=True).first.click()
    form = page.locator("form", has=page.locator("#id_observation_how"))
    form.get_by_label("Reason").select_option("sheet misread")
    form.get_by_label("Evidence").fill("roll-call ticked both; the body was behind the rockwork")
    form.get_by_role("button", name="Decide this line: observation only").click()
    expect(page.get_by_text(f"{line}: decided.")).to_be_visible()


def test_a_late_death_of_class_a_is_restated_from_the_first_signature_to_the_second(
    browser: Browser, house: TestHouse, live_server: object
) -> None:
    census, address = house.compared({}), f"{live_server}"
    line = house.line(census, "conger")
    signing = address_of(live_server, "census_sign", census.code)
    period = address_of(live_server, "period", house.period.code)

    with time_machine.travel(NOW, tick=False):
        sign_and_close(as_(browser, address, house.curator), signing)
    first = papers(1)
    factories.make_event(
        "died",
        lot=Lot.objects.get(pk=house.lots["hawser"].pk),
        place="K1",
        happened="2026-09-20",
        now=LATER,
        entered_by=house.first,
        reason="late death entry",
        evidence="body found behind the rockwork, dead for weeks",
    )
    with time_machine.travel(LATER, tick=False):
        registrar, curator = as_(browser, address, house.registrar), as_(browser, address, house.curator)
        ask_for_it(registrar, period)
        approve_it(curator, period)
        # The line counted two; the book has one now. It cannot be signed before somebody settles it.
        curator.goto(signing)
        expect(curator.get_by_text("outside tolerance (+1)")).to_be_visible()
        expect(curator.get_by_role("button", name="Sign and close 2026 Q3")).to_have_count(0)
        settle_it(registrar, signing, line)
    with time_machine.travel(RESTATED, tick=False):
        curator = as_(browser, address, house.curator)
        sign_and_close(curator, signing)
        assert looked_at(curator, period) == []
        changed = curator.get_by_role("region", name="Figures changed by version 2")
        expect(changed.get_by_role("row", name="Conger conger closing 2 1")).to_be_visible()
        expect(changed.get_by_role("row", name="Conger conger died 0 1")).to_be_visible()
        assert papers(1) == downloaded(curator, address, 1) == first
        second = downloaded(curator, address, 2)
    assert PeriodVersion.objects.count() == 2
    assert set(first) < set(second)
    assert [name for name in first if first[name] == second[name]] == []
    # What was right when it was compared stays right at the first count.
    table = {one.count_class: one for one in accuracy_table(read_census(Census.objects.get()), DEFAULTS)}
    assert (table["A"].first.inside, table["A"].latest.inside) == (1, 0)
