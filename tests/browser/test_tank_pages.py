"""The registrar's pages of devices and of what came from the tanks, in a real browser."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from axe_core_python.sync_playwright import Axe  # type: ignore[import-untyped]
from django.test import Client
from playwright.sync_api import Page

from inventory.book.rules.found_as import FoundAs
from inventory.doors import clock
from inventory.people.actions.codes import WrongCode, check_code, set_code
from inventory.people.actions.devices import enrol, make_device, offer_code
from inventory.people.models import Device, DeviceScope, Person
from inventory.people.rules.roles import Role
from inventory.tankside.actions.unlisted import Said, say_what_it_was
from inventory.tankside.models import Entry

from .. import factories

pytestmark = pytest.mark.browser

PASSWORD = "wet hands, no signal"
PAGES = (
    "/devices",
    "/my-code",
    "/alarms",
    "/doubles",
    "/open-names",
    "/came-back",
    "/questions",
    "/on-no-list",
    "/sent",
    "/picture/lot/A0",
    "/picture/taxon/Raja%20clavata",
    "/taxon/Raja%20clavata",
    "/lot/A0",
    "/",
)


@pytest.fixture
def registrar(transactional_db: None, settings: Any) -> Person:
    """A house in which every page has something to look at."""
    settings.ALARM_POST_IN_BACKGROUND = False
    person = factories.make_person("Maren Tolvsund", roles=list(Role), password=PASSWORD)
    keeper = factories.make_person("Sunniva Aldrask", roles=[Role.AQUARIST])
    factories.make_house(registrar=person, name="Skerry Aquarium")
    hall = factories.make_place("E02", kind="exhibit", name="Kelp Hall")
    goby = factories.make_taxon("Pomatoschistus flavescens", common_name="two-spotted goby", count_class="C")
    rays = [
        factories.make_taxon(
            f"Raja {name}", common_name=f"{name} ray", count_class="A", look_alike_set="rays"
        )
        for name in ("clavata", "montagui")
    ]
    for number, taxon in enumerate((goby, *rays)):
        lot = factories.make_lot(f"A{number}", taxon=taxon)
        factories.make_event("received", lot=lot, place=hall, unknown=20, entered_by=person)
    for of in (rays[0], goby.lots.get()):
        factories.make_picture(of, by=person)
    _send(_tablet(person, keeper), keeper)
    say_what_it_was(
        entry=Entry.objects.latest("pk"),
        said=Said(FoundAs.SETTLED, "two-spotted goby", "seen from both sides of the tank"),
        instead_of=None,
        by=person,
        now=clock.now(),
    )
    return person


def _tablet(registrar: Person, keeper: Person) -> str:
    now = clock.now()
    blue = make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=registrar, now=now)
    make_device(name="Probe 1", scope=DeviceScope.READINGS, by=registrar, now=now)
    token = enrol(code=offer_code(blue, by=registrar, now=now), now=now).token
    set_code(keeper, "4071", by=keeper, now=now)
    for _ in range(6):
        with pytest.raises(WrongCode):
            check_code(person=keeper, code="0000", device=Device.objects.get(name="Blue"), now=now)
    return token


def _send(token: str, keeper: Person) -> None:
    now = clock.now()
    saved_at = now - timedelta(minutes=20)

    def entry(kind: str = "died", **said: Any) -> dict[str, Any]:
        return {
            "identifier": str(uuid4()),
            "kind": kind,
            "person": keeper.pk,
            "saved_at": saved_at.isoformat(),
            "place": "E02",
            "numbers": {"unknown": 2},
        } | said

    entries = [
        entry(lot="A0"),
        entry(lot="A0", note="by the overflow"),
        entry(open_name="set:rays"),
        entry(lot="A1"),
        entry("moved", lot="A2", to_place="E02"),
        entry("note", note="algae on the window", numbers=None),
        entry("note", note="Not on the list: 2, a flat oyster with frills", numbers=None, unlisted=True),
        entry("note", note="Not on the list: 1, a cushion star", numbers=None, unlisted=True),
    ]
    answer = Client().post(
        "/api/v1/entries",
        {"sent_at": now.isoformat(), "entries": entries},
        content_type="application/json",
        headers={"Authorization": f"Bearer {token}"},
    )
    assert answer.status_code == 200, answer.content


def _sign_in(page: Page, live_server: object, person: Person) -> None:
    assert person.user is not None
    page.goto(f"{live_server}/sign-in")
    page.get_by_label("Sign-in name").fill(person.user.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{live_server}/")


def _look(page: Page, where: str) -> None:
    """No barrier, and nothing wider than a phone but what scrolls by itself."""
    found = Axe().run(page)["violations"]
    assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == [], where
    page.set_viewport_size({"width": 360, "height": 640})
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 360, f"{where} is {wide} px wide on a phone"
    page.set_viewport_size({"width": 1280, "height": 800})


def test_the_pages_have_no_barrier_and_fit_a_phone(
    registrar: Person, live_server: object, page: Page
) -> None:
    _sign_in(page, live_server, registrar)
    for url in PAGES:
        page.goto(f"{live_server}{url}")
        assert "None: " not in page.inner_text("main"), url
        _look(page, url)


def test_the_words_that_let_a_device_in_are_shown_with_their_picture(
    registrar: Person, live_server: object, page: Page
) -> None:
    _sign_in(page, live_server, registrar)
    page.goto(f"{live_server}/devices")
    page.get_by_role("button", name="Enrol Blue").click()
    page.get_by_role("heading", name="Enrol Blue").wait_for()
    _look(page, "let in")
    assert page.get_by_role("img", name="The same as a QR code").evaluate("image => image.naturalWidth") > 0
    page.goto(f"{live_server}/devices")
    page.get_by_role("button", name="New token for Probe 1").click()
    assert page.locator("code.secret").inner_text().startswith("tide_")
    _look(page, "token")


def test_a_double_is_settled_with_one_tap(registrar: Person, live_server: object, page: Page) -> None:
    _sign_in(page, live_server, registrar)
    page.goto(f"{live_server}/doubles")
    page.get_by_role("button", name="The same").first.click()
    page.get_by_text("is taken back by event").wait_for()


def test_the_registrar_says_what_an_animal_on_no_list_was_and_the_permit_officer_has_seen_it(
    registrar: Person, live_server: object, page: Page
) -> None:
    """One person with both roles walks both ways."""
    _sign_in(page, live_server, registrar)
    page.goto(f"{live_server}/questions")
    row = page.get_by_role("row", name="a flat oyster with frills")
    row.get_by_label("It is").select_option("introduced species")
    row.get_by_label("Name").fill("Pacific oyster")
    row.get_by_label("How you know, and what was done").fill("by its shell; left where it is")
    row.get_by_role("button", name="Keep it").click()
    page.get_by_text("The permit officer finds it on the page Today.").wait_for()
    page.goto(f"{live_server}/")
    page.get_by_role("link", name="Pacific oyster: introduced species").click()
    page.get_by_role("heading", name="Say it anew").wait_for()
    _look(page, "introduced")
    page.get_by_role("link", name="All that were looked into").click()
    page.get_by_role("button", name="I have seen: Pacific oyster").click()
    page.get_by_text("Seen: Pacific oyster: introduced species.").wait_for()
    page.get_by_role("link", name="Not on the list: 1, a cushion star").click()
    _look(page, "settled")
    page.get_by_role("link", name="Settled: A0").click()
    page.wait_for_url("**/record/settled/A0?finding=*")
    assert page.locator("#id_unknown").input_value() == "1"
    assert "a cushion star" in page.locator("#id_note").input_value()
    _look(page, "filled in")
