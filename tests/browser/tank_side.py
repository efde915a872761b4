"""A house with a tank side for browser tests: a server that can be killed, people with codes, a device."""

import http.client
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.db import connection
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, expect
from playwright.sync_api import Error as PlaywrightError

from inventory.book.models import Event, Keeping
from inventory.names.actions.lists import load_lists
from inventory.people.actions.codes import set_code
from inventory.people.actions.devices import make_device, offer_code
from inventory.people.models import Device, DeviceScope, Person
from inventory.people.rules.roles import Role

from .. import factories

PROJECT = Path(__file__).resolve().parents[2]
LISTS = PROJECT / "fixtures" / "lists"
CODE = "4713"
PHONE: ViewportSize = {"width": 360, "height": 640}
# A slow machine under load; nothing waits so long when all is well.
PATIENCE_MS = 8_000
expect.set_options(timeout=PATIENCE_MS)


@dataclass
class Server:
    """The site in a process of its own, always at the same address."""

    port: int
    process: subprocess.Popen[bytes] | None = None
    host: str = "localhost"

    @property
    def url(self) -> str:
        return f"http://{self.host}:{self.port}"

    def start(self, *options: str) -> None:
        """Starts it and waits until it answers."""
        self.kill()
        command = [
            sys.executable,
            "-m",
            "tests.browser.serve",
            str(self.port),
            connection.settings_dict["NAME"],
        ]
        self.process = subprocess.Popen([*command, *options], cwd=PROJECT, stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + 5 * PATIENCE_MS / 1000
        while not self._answers():
            assert self.process.poll() is None, "the server did not start"
            assert time.monotonic() < deadline, "the server does not answer"
            time.sleep(0.05)

    def kill(self) -> None:
        """As when the power fails: nothing is tidied up."""
        if self.process:
            self.process.send_signal(signal.SIGKILL)
            self.process.wait(PATIENCE_MS / 1000)
            self.process = None

    def wait_until_dead(self) -> None:
        """For a server that was told to kill itself."""
        assert self.process
        assert self.process.wait(PATIENCE_MS / 1000) == -signal.SIGKILL
        self.process = None

    def _answers(self) -> bool:
        asking = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_MS / 1000)
        try:
            asking.request("GET", "/tank/sw.js")
            return asking.getresponse().status == 200
        except OSError:
            return False
        finally:
            asking.close()


@pytest.fixture(scope="module")
def process(django_db_setup: None) -> Iterator[Server]:
    """One address for a module; the process behind it comes and goes."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        server = Server(free.getsockname()[1])
    yield server
    server.kill()


@dataclass
class TankSide:
    """The house as its tests speak of it."""

    registrar: Person
    aquarist: Person
    device: Device
    server: Server
    now: datetime = field(default_factory=timezone.now)

    def code(self) -> str:
        """A new code that enrols the device."""
        return offer_code(self.device, by=self.registrar, now=timezone.now())


@pytest.fixture
def tank_side(transactional_db: None, process: Server) -> TankSide:
    """Kelp Hall with gobies, wrasses, a weever and a conger; Jory keeps it and holds Blue."""
    now = timezone.now()
    long_ago = f"{now - timedelta(days=20):%Y-%m-%d}"
    registrar = factories.make_person("Maren Tolvsund", initials="MT", roles=[Role.REGISTRAR])
    aquarist = factories.make_person("Jory Penhalloway", initials="JP", roles=[Role.AQUARIST])
    other = factories.make_person("Ade Quillanter", initials="AQ", roles=[Role.AQUARIST])
    factories.make_house(registrar=registrar, name="Skerry Aquarium")
    hall = factories.make_place("E02", kind="exhibit", name="Kelp Hall")
    factories.make_place("Q1", kind="quarantine", name="Quarantine fish")
    Keeping.objects.create(place=hall, keeper=aquarist, since=now.date() - timedelta(days=20))
    load_lists(LISTS, now=now)
    goby = factories.make_taxon(
        "Pomatoschistus flavescens", common_name="two-spotted goby", genus="Pomatoschistus",
        look_alike_set="small gobies", kingdom="Animalia", can_divide=True,
    )  # fmt: skip
    sand = factories.make_taxon(
        "Pomatoschistus minutus", common_name="sand goby", genus="Pomatoschistus",
        look_alike_set="small gobies", kingdom="Animalia",
    )  # fmt: skip
    weever = factories.make_taxon(
        "Echiichthys vipera", common_name="lesser weever", genus="Echiichthys",
        family="Trachinidae", kingdom="Animalia",
    )  # fmt: skip
    conger = factories.make_taxon("Conger conger", common_name="European conger", kingdom="Animalia")
    lots = [
        (factories.make_lot("2025-1", taxon=goby), 200),
        (factories.make_lot("2025-2", taxon=sand), 12),
        (factories.make_lot("2025-3", taxon=weever), 4),
        (
            factories.make_lot(
                "2025-4", taxon=conger, kind="individual", house_name="Thole", count_class="A"
            ),
            1,
        ),
    ]
    for lot, n in lots:
        factories.make_event(
            "received", lot=lot, place=hall, unknown=n, happened=long_ago, entered_by=registrar, now=now
        )
    for person in (aquarist, other):
        set_code(person, CODE, by=person, now=now)
    device = make_device(name="Blue", scope=DeviceScope.TANKSIDE, by=registrar, now=now)
    if process.process is None:
        process.start()
    return TankSide(registrar, aquarist, device, process)


def watch(page: Page) -> None:
    """A script that breaks fails the test; a lost network is what these tests are about."""
    page.set_default_timeout(2 * PATIENCE_MS)
    broken: list[str] = []

    def note(error: PlaywrightError) -> None:
        broken.append(f"{error.name}: {error.message}")

    page.on("pageerror", note)
    page.broken = broken  # type: ignore[attr-defined]


def unbroken(page: Page) -> None:
    broken: list[str] = page.broken  # type: ignore[attr-defined]
    assert not broken, broken


def phone_of(browser: Browser, **options: Any) -> BrowserContext:
    return browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True, locale="en-GB", **options)


@pytest.fixture
def phone(browser: Browser, tank_side: TankSide) -> Iterator[Page]:
    """A phone with the tank side's page, enrolled as Blue; nobody is chosen yet."""
    context = phone_of(browser)
    page = context.new_page()
    watch(page)
    enrol(page, tank_side)
    yield page
    unbroken(page)
    context.close()


@pytest.fixture
def phone_without_worker(browser: Browser, tank_side: TankSide) -> Iterator[Page]:
    """The same where nothing sends but the page itself, so that a test may come between."""
    context = phone_of(browser, service_workers="block")
    page = context.new_page()
    watch(page)
    enrol(page, tank_side)
    yield page
    unbroken(page)
    context.close()


def enrol(page: Page, house: TankSide) -> None:
    """As a person does it: by the code in the address that the registrar's page shows as a QR code."""
    page.goto(f"{house.server.url}/tank/enrol#{house.code().replace(' ', '-')}")
    page.get_by_role("button", name="Enrol this device").click()
    expect(page.get_by_text("This device is Blue.")).to_be_visible()


def open_tank(page: Page, house: TankSide, address: str = "/tank/#E02", person: str = "Jory") -> None:
    """Opens what a label's code says, and says who is there."""
    page.goto("about:blank")
    page.goto(f"{house.server.url}{address}")
    choose(page, person)
    expect(page.get_by_role("button", name="change person")).to_be_visible()


def open_label(page: Page, house: TankSide, address: str, person: str = "Jory") -> None:
    """Opens what a label's code says, as a phone's camera does, and says who is there if the page asks.

    A browser may open the address in a fresh tab, which knows of nobody, or in the one that is open.
    """
    page.goto("about:blank")
    page.goto(f"{house.server.url}{address}")
    asked = page.get_by_role("heading", level=1, name="Who are you?")
    known = page.get_by_role("button", name="change person")
    expect(asked.or_(known)).to_be_visible()
    if asked.is_visible():
        choose(page, person)
    expect(known).to_be_visible()


def choose(page: Page, person: str = "Jory", code: str = CODE) -> None:
    page.get_by_role("button", name=person).click()
    expect(page.get_by_text("Your code of four digits")).to_be_visible()
    for digit in code:
        page.get_by_role("button", name=digit, exact=True).click()


def dead(page: Page, n: int = 1, animal: str = "two-spotted goby") -> None:
    """One death, from the tank's list of animals to the confirmation and back."""
    page.get_by_role("button", name=animal).click()
    if n > 1:
        page.get_by_role("button", name=str(n), exact=True).click()
    page.get_by_role("button", name="Died").click()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_contain_text(re.compile("Saved on this device|Saved and sent"))
    page.get_by_role("button", name="Another animal in").click()


def rows(page: Page) -> list[dict[str, Any]]:
    """What the device keeps, in the order of writing."""
    found: list[dict[str, Any]] = page.evaluate(
        "import('/static/tankside/outbox.js').then(outbox => outbox.all())"
    )
    return found


def until(page: Page, promise: str) -> None:
    """Asks until the promise holds: Playwright's own wait takes a promise itself for true."""
    deadline = time.monotonic() + 5 * PATIENCE_MS / 1000
    while not page.evaluate(promise):
        assert time.monotonic() < deadline, f"never true: {promise}"
        page.wait_for_timeout(50)


def all_sent(page: Page) -> None:
    """Waits until nothing waits; a page that does not know of the signal is told as a browser tells it."""
    page.evaluate("dispatchEvent(new Event('online'))")
    until(
        page, "import('/static/tankside/outbox.js').then(it => it.pending()).then(rows => rows.length === 0)"
    )
    expect(page.locator("#badge")).to_have_text("All sent")


def listen(page: Page) -> None:
    """From now on the page keeps what its spoken line tells, each time that its words change."""
    page.evaluate(
        """() => {
            const line = document.getElementById("said");
            window.heard = [];
            new MutationObserver(() => line.textContent && window.heard.push(line.textContent))
                .observe(line, { childList: true, characterData: true, subtree: true });
        }"""
    )


def heard(page: Page) -> list[str]:
    """What a screen reader was told since, once nothing is left to be told."""
    until(page, "document.getElementById('said').textContent === ''")
    told: list[str] = page.evaluate("window.heard")
    return told


def each_is_one_event(page: Page, kind: str = "died") -> list[dict[str, Any]]:
    """Every entry of the device is exactly one event of the book, and the book has no other."""
    kept = [row for row in rows(page) if row["body"]["kind"] == kind]
    assert [row["state"] for row in kept] == ["sent"] * len(kept)
    booked = [
        str(one)
        for one in Event.objects.filter(kind=kind).order_by("id").values_list("identifier", flat=True)
    ]
    assert booked == [row["identifier"] for row in kept]
    return kept


__all__ = [
    "CODE", "PHONE", "PlaywrightError", "Server", "TankSide", "all_sent", "choose", "dead",
    "each_is_one_event", "enrol", "heard", "listen", "open_label", "open_tank", "phone", "phone_of",
    "phone_without_worker", "process", "rows", "tank_side", "unbroken", "until", "watch",
]  # fmt: skip
