"""No entry is lost and none is doubled, whatever breaks: after each, every entry is exactly one event."""

import json
import os
import re
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Route, expect

from inventory.book.models import Event, Flag, Lot
from inventory.tankside.models import Entry

from .conftest import FLAGS
from .tank_side import (
    PATIENCE_MS,
    PHONE,
    TankSide,
    all_sent,
    dead,
    each_is_one_event,
    enrol,
    open_tank,
    phone,
    phone_without_worker,
    process,
    rows,
    tank_side,
    unbroken,
    until,
    watch,
)  # fmt: skip

pytestmark = pytest.mark.browser
__all__ = ["phone", "phone_without_worker", "process", "tank_side"]

PUT = """n => import('/static/tankside/outbox.js').then(async outbox => {
    const { current } = await import('/static/tankside/person.js');
    for (let i = 1; i <= n; i += 1) {
        await outbox.put('/api/v1/entries', {
            kind: 'died', place: 'E02', lot: '2025-1', numbers: { unknown: 1 }, note: `entry ${i}`,
        }, `1 dead (${i})`, current());
    }
})"""
CACHES = "caches.keys().then(names => names.filter(name => name.startsWith('tank-side-')).sort())"


def kept_by_the_worker(page: Page) -> None:
    """Waits until the page opens without signal."""
    until(page, "navigator.serviceWorker.ready.then(it => it.active?.state === 'activated')")


def test_fifty_entries_with_no_signal_go_in_order_when_there_is_one(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    kept_by_the_worker(phone)
    tank_side.server.kill()
    dead(phone)
    phone.evaluate(PUT, 24)
    # The tab is closed and opened again: the page itself opens without signal, and nobody is chosen.
    second = phone.context.new_page()
    watch(second)
    phone.close()
    open_tank(second, tank_side)
    expect(second.locator("#age")).to_contain_text("Lists of")
    dead(second, 2)
    second.evaluate(PUT, 24)
    expect(second.locator("#badge")).to_have_text("50 not yet sent")
    assert not Entry.objects.exists()
    tank_side.server.start()
    all_sent(second)
    kept = each_is_one_event(second)
    assert len(kept) == 50
    assert [str(one) for one in Entry.objects.values_list("identifier", flat=True)] == [
        row["identifier"] for row in kept
    ]
    assert Lot.objects.get(accession="2025-1").held == 200 - 51
    unbroken(second)


@contextmanager
def chromium_of(browser: Browser, path: str, profile: Path) -> Iterator[Page]:
    """A browser in a process of ours, on a folder that outlives it; killed at the end, not closed."""
    port_file = profile / "DevToolsActivePort"
    port_file.unlink(missing_ok=True)
    command = [path, *FLAGS, "--headless=new", "--remote-debugging-port=0", f"--user-data-dir={profile}"]
    started = subprocess.Popen(
        [*command, "about:blank"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        deadline = time.monotonic() + 5 * PATIENCE_MS / 1000
        while not (port_file.exists() and port_file.read_text()):
            assert started.poll() is None
            assert time.monotonic() < deadline, "the browser does not start"
            time.sleep(0.05)
        port = port_file.read_text().split()[0]
        ours = browser.browser_type.connect_over_cdp(f"http://127.0.0.1:{port}")
        page = ours.contexts[0].new_page()
        page.set_viewport_size(PHONE)
        watch(page)
        yield page
    finally:
        os.killpg(started.pid, signal.SIGKILL)
        started.wait(PATIENCE_MS / 1000)


def test_entries_survive_a_browser_that_is_killed_before_it_sends(
    browser: Browser, tank_side: TankSide, chromium: str, tmp_path: Path
) -> None:
    """Killed at once after the confirmation, as when the battery is empty; started again on what it kept."""
    with chromium_of(browser, chromium, tmp_path) as page:
        enrol(page, tank_side)
        open_tank(page, tank_side)
        kept_by_the_worker(page)
        tank_side.server.kill()
        dead(page)
        dead(page, 2)
        before = [row["identifier"] for row in rows(page)]
    tank_side.server.start()
    with chromium_of(browser, chromium, tmp_path) as page:
        page.goto(f"{tank_side.server.url}/tank/")
        # Sent on opening, by the author who wrote them: nobody has to be chosen for that.
        expect(page.get_by_role("heading", level=1)).to_have_text("Who are you?")
        all_sent(page)
        assert [row["identifier"] for row in each_is_one_event(page)] == before
        assert {event.entered_by for event in Event.objects.filter(kind="died")} == {tank_side.aquarist}
        assert not Flag.objects.filter(kind="author").exists()
        unbroken(page)


def test_a_server_killed_while_it_receives_loses_and_doubles_nothing(
    phone: Page, tank_side: TankSide
) -> None:
    open_tank(phone, tank_side)
    kept_by_the_worker(phone)
    tank_side.server.kill()
    phone.evaluate(PUT, 8)
    tank_side.server.start("--die-after", "4")
    phone.evaluate("dispatchEvent(new Event('online'))")
    tank_side.server.wait_until_dead()
    # Three were taken and never answered; the fourth was under way.
    assert Entry.objects.count() == 3
    assert [row["state"] for row in rows(phone)] == ["waiting"] * 8
    tank_side.server.start()
    all_sent(phone)
    kept = each_is_one_event(phone)
    assert [row["answer"]["already"] for row in kept] == [True] * 3 + [False] * 5


def test_an_answer_lost_on_the_way_back_makes_no_second_event(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    phone = phone_without_worker
    lost: list[str] = []

    def lose_the_first(route: Route) -> None:
        if lost:
            route.continue_()
            return
        route.fetch()
        lost.append(route.request.post_data or "")
        route.abort("connectionreset")

    phone.route("**/api/v1/entries", lose_the_first)
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    with phone.expect_event("requestfailed", lambda request: request.url.endswith("/api/v1/entries")):
        phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_contain_text("Not yet sent")
    assert Event.objects.filter(kind="died").count() == 1
    all_sent(phone)
    (row,) = each_is_one_event(phone)
    assert row["answer"]["already"]
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")


def test_one_entry_sent_by_two_tabs_is_one_event(phone_without_worker: Page, tank_side: TankSide) -> None:
    """Both tabs send on regained signal; and both send the same envelope past the turn that they take."""
    first = phone_without_worker
    open_tank(first, tank_side)
    second = first.context.new_page()
    watch(second)
    open_tank(second, tank_side)
    first.context.set_offline(True)
    first.evaluate(PUT, 5)
    second.evaluate(PUT, 5)
    bodies = [row["body"] for row in rows(first)]
    assert len(bodies) == 10
    first.context.set_offline(False)
    envelope = json.dumps({"sent_at": bodies[-1]["saved_at"], "entries": bodies})
    send = """envelope => import('/static/tankside/device.js')
        .then(device => device.ask('/api/v1/entries', { method: 'POST', json: JSON.parse(envelope) }))
        .then(answer => answer.status)"""
    for page in (first, second):
        page.evaluate(f"envelope => {{ globalThis.sending = ({send})(envelope); }}", envelope)
    for page in (first, second):
        assert page.evaluate("sending") == 200
        all_sent(page)
    assert len(each_is_one_event(first)) == 10
    assert Entry.objects.count() == 10
    unbroken(second)


def test_an_entry_of_an_expired_pass_is_taken_and_flagged(phone: Page, tank_side: TankSide) -> None:
    """Seventeen hours after the code was checked, on a device that was left on."""
    open_tank(phone, tank_side)
    phone.evaluate("""() => {
        const session = JSON.parse(sessionStorage.getItem("tidetally-person"));
        session.pass_at -= 17 * 3600e3;
        sessionStorage.setItem("tidetally-person", JSON.stringify(session));
    }""")
    dead(phone)
    all_sent(phone)
    (row,) = each_is_one_event(phone)
    assert row["body"]["pass"] is None
    assert [flag["kind"] for flag in row["answer"]["flags"]] == ["author"]
    flag = Flag.objects.get(kind="author")
    assert flag.owner == tank_side.registrar


def test_a_new_version_of_the_page_drops_nothing_that_waits(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    kept_by_the_worker(phone)
    before = phone.evaluate(CACHES)
    tank_side.server.kill()
    dead(phone)
    phone.evaluate(PUT, 4)
    phone.get_by_role("button", name="two-spotted goby").click()
    # The new one refuses to receive at first: what waits must outlast the change of version.
    phone.context.route("**/api/v1/entries", lambda route: route.abort())
    tank_side.server.start("--version", "Tank side, new")
    phone.evaluate("navigator.serviceWorker.getRegistration('/tank/').then(it => it.update())")
    until(phone, f"{CACHES}.then(names => names.length === 1 && names[0] !== '{before[0]}')")
    # An entry is under way: the page waits with the new version until it is finished.
    expect(phone.get_by_role("button", name="Died")).to_be_visible()
    phone.get_by_role("button", name="Died").click()
    phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_be_visible()
    phone.context.unroute_all()
    phone.goto("about:blank")
    phone.goto(f"{tank_side.server.url}/tank/")
    expect(phone).to_have_title(re.compile("Tidetally"))
    assert phone.evaluate("fetch('/tank/').then(answer => answer.text())").count("Tank side, new")
    all_sent(phone)
    assert len(each_is_one_event(phone)) == 6
    tank_side.server.kill()


def test_a_later_version_that_adds_to_what_is_kept_leaves_an_older_page_working(
    phone: Page, tank_side: TankSide
) -> None:
    open_tank(phone, tank_side)
    dead(phone)
    phone.evaluate("""() => new Promise((done, failed) => {
        const asked = indexedDB.open("tidetally-tank-side", 3);
        asked.onupgradeneeded = () => asked.result.createObjectStore("of a later version");
        asked.onerror = () => failed(asked.error);
        asked.onsuccess = () => { asked.result.close(); done(); };
    })""")
    dead(phone)
    all_sent(phone)
    assert len(each_is_one_event(phone)) == 2


def test_a_device_without_room_says_so_and_confirms_nothing(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    phone.evaluate("""() => {
        IDBObjectStore.prototype.add = () => { throw new DOMException("full", "QuotaExceededError"); };
    }""")
    phone.get_by_role("button", name="Save").click()
    expect(phone.get_by_role("alert")).to_contain_text("This device has no room left. Nothing was saved.")
    assert rows(phone) == []


def test_an_entry_that_cannot_be_read_holds_up_no_other(phone: Page, tank_side: TankSide) -> None:
    open_tank(phone, tank_side)
    phone.context.set_offline(True)
    phone.evaluate("""() => import('/static/tankside/outbox.js').then(async outbox => {
        const { current } = await import('/static/tankside/person.js');
        const entry = { kind: 'died', place: 'E02', lot: '2025-1', numbers: { unknown: 1 } };
        for (const more of [{}, { kind: 'vanished' }, { numbers: { unknown: -1 } }, {}]) {
            await outbox.put('/api/v1/entries', { ...entry, ...more }, 'dead', current());
        }
    })""")
    phone.context.set_offline(False)
    all_sent(phone)
    assert [row["state"] for row in rows(phone)] == ["sent", "came back", "came back", "sent"]
    assert Event.objects.filter(kind="died").count() == 2
    phone.locator("#badge").click()
    expect(phone.get_by_text("Came back to you: 2")).to_be_visible()


def test_an_entry_of_a_clock_that_is_out_is_taken_flagged_and_can_be_undone(
    phone: Page, tank_side: TankSide
) -> None:
    phone.add_init_script(
        "const real = Date.now; Date.now = () => real() + 20 * 60e3;"
        "const D = Date; globalThis.Date = class extends D {"
        "constructor(...a) { a.length ? super(...a) : super(D.now()); } };"
    )
    open_tank(phone, tank_side)
    phone.get_by_role("button", name="two-spotted goby").click()
    phone.get_by_role("button", name="Died").click()
    phone.get_by_role("button", name="Save").click()
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    phone.get_by_role("button", name="Undo (10 min left)").click()
    expect(phone.locator("p.big")).to_contain_text("Undone.")
    all_sent(phone)
    (row,) = each_is_one_event(phone)
    assert "clock" in [flag["kind"] for flag in row["answer"]["flags"]]
