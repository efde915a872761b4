"""A view that was left draws nothing: the device's memory is made to answer after the next view is drawn.

A wet hand taps faster than a slow phone reads. Each test holds back what a view waits for, goes on to
another view, lets the answer come, and looks whether the later view still stands.
"""

import re
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Page, Route, expect

from .tank_side import (
    PATIENCE_MS,
    TankSide,
    choose,
    each_is_one_event,
    open_tank,
    phone,
    phone_without_worker,
    process,
    tank_side,
    until,
)  # fmt: skip

pytestmark = pytest.mark.browser
__all__ = ["phone", "phone_without_worker", "process", "tank_side"]

# Reads of all rows of a store tell nobody that they are done until hold.open() says so; then what had
# waited is done, and what it starts, before the promise of open() resolves.
SLOW_MEMORY = """
    const getAll = IDBObjectStore.prototype.getAll;
    let gate = null;
    let open = null;
    globalThis.hold = {
        waiting: 0,
        close() { gate = new Promise((go) => { open = go; }); },
        async open() {
            gate = null;
            open?.();
            hold.waiting = 0;
            await new Promise((go) => setTimeout(go));
            // Another read of the same store: whatever a late view reads after the first is done by then too.
            const { rows } = await import("/static/tankside/store.js");
            await rows();
            await new Promise((go) => setTimeout(go));
        },
    };
    IDBObjectStore.prototype.getAll = function (...asked) {
        const request = getAll.apply(this, asked);
        if (!gate) return request;
        const until = gate;
        const listen = request.addEventListener.bind(request);
        hold.waiting += 1;
        request.addEventListener = (name, tell, ...more) =>
            listen(
                name,
                name === "success" ? (event) => until.then(() => tell.call(request, event)) : tell,
                ...more,
            );
        return request;
    };
"""


@pytest.fixture
def slow(phone_without_worker: Page) -> Page:
    """A phone whose memory can be held back; only the page itself sends."""
    phone_without_worker.add_init_script(f"{{ {SLOW_MEMORY} }}")
    return phone_without_worker


@contextmanager
def held(page: Page) -> Iterator[None]:
    """What the page reads of its rows is answered only at the end."""
    page.evaluate("hold.close()")
    yield
    page.evaluate("hold.open()")


def waits(page: Page, n: int = 1) -> None:
    until(page, f"hold.waiting >= {n}")


def kept_open(page: Page, address: str) -> list[Route]:
    """Requests of the page to an address, each without an answer until the test lets it go."""
    asked: list[Route] = []

    def keep(route: Route) -> None:
        asked.append(route)

    page.route(address, keep)
    return asked


def came(page: Page, answers: list[Route], n: int = 1) -> None:
    """Waits until the page has asked so often."""
    deadline = time.monotonic() + PATIENCE_MS / 1000
    while len(answers) < n:
        assert time.monotonic() < deadline, f"asked {len(answers)} times, not {n}"
        page.wait_for_timeout(20)


def heading(page: Page, words: str | re.Pattern[str]) -> None:
    expect(page.get_by_role("heading", level=1)).to_have_text(words)


def stands(page: Page, words: str) -> None:
    """Now, not soon: what could draw over it has been done."""
    assert page.get_by_role("heading", level=1).text_content() == words


def test_a_late_confirmation_does_not_draw_over_the_tank(slow: Page, tank_side: TankSide) -> None:
    open_tank(slow, tank_side)
    answers = kept_open(slow, "**/api/v1/entries")
    slow.get_by_role("button", name="two-spotted goby").click()
    slow.get_by_role("button", name="Died").click()
    slow.get_by_role("button", name="Save").click()
    expect(slow.locator("p.big")).to_contain_text("Saved on this device.")
    with held(slow):
        came(slow, answers)
        answers[0].continue_()
        waits(slow)
        slow.get_by_role("button", name="Another animal in").click()
        heading(slow, "E02 Kelp Hall")
    stands(slow, "E02 Kelp Hall")
    slow.get_by_role("button", name="lesser weever").click()
    stands(slow, "lesser weever")
    assert len(each_is_one_event(slow)) == 1


def test_the_way_on_is_not_drawn_anew_under_the_finger(slow: Page, tank_side: TankSide) -> None:
    """A button replaced between touch and release feels no tap."""
    open_tank(slow, tank_side)
    answers = kept_open(slow, "**/api/v1/entries")
    slow.get_by_role("button", name="two-spotted goby").click()
    slow.get_by_role("button", name="Died").click()
    slow.get_by_role("button", name="Save").click()
    expect(slow.locator("p.big")).to_contain_text("Saved on this device.")
    slow.get_by_role("button", name="Another animal in").hover()
    slow.mouse.down()
    came(slow, answers)
    answers[0].continue_()
    expect(slow.locator("p.big")).to_contain_text("Saved and sent.")
    slow.mouse.up()
    heading(slow, "E02 Kelp Hall")


def test_late_tanks_do_not_draw_over_the_animal(slow: Page, tank_side: TankSide) -> None:
    open_tank(slow, tank_side)
    with held(slow):
        slow.get_by_role("button", name="Other tank").click()
        waits(slow)
        # The tank's list is still there to be tapped.
        slow.get_by_role("button", name="two-spotted goby").click()
        heading(slow, "two-spotted goby")
    stands(slow, "two-spotted goby")


def test_late_entries_do_not_draw_over_the_tank(slow: Page, tank_side: TankSide) -> None:
    open_tank(slow, tank_side)
    heading(slow, "E02 Kelp Hall")
    with held(slow):
        slow.locator("#badge").click()
        waits(slow)
        slow.get_by_role("button", name="two-spotted goby").click()
        heading(slow, "two-spotted goby")
    stands(slow, "two-spotted goby")


def test_a_late_mend_does_not_draw_over_the_tank(slow: Page, tank_side: TankSide) -> None:
    open_tank(slow, tank_side)
    slow.get_by_role("button", name="lesser weever").click()
    slow.get_by_role("button", name="9", exact=True).click()
    slow.get_by_role("button", name="Moved").click()
    slow.get_by_label("To which tank").select_option("Q1")
    slow.get_by_role("button", name="Save").click()
    expect(slow.locator("p.big")).to_contain_text("It came back.")
    with held(slow):
        slow.get_by_role("button", name="Mend it").click()
        waits(slow)
        slow.get_by_role("button", name="Another animal in").click()
        heading(slow, "E02 Kelp Hall")
    stands(slow, "E02 Kelp Hall")


def test_a_late_chooser_does_not_draw_over_the_pad(slow: Page, tank_side: TankSide) -> None:
    open_tank(slow, tank_side)
    slow.get_by_role("button", name="change person").click()
    slow.get_by_role("button", name="Ade").click()
    expect(slow.get_by_text("Your code of four digits")).to_be_visible()
    with held(slow):
        slow.get_by_role("button", name="Other person").click()
        waits(slow)
        slow.get_by_role("button", name="Other person").click()
        waits(slow, 2)
    expect(slow.get_by_role("heading", level=1)).to_have_text("Who are you?")
    choose(slow, "Ade")
    heading(slow, "E02 Kelp Hall")


def test_a_late_answer_to_a_code_does_not_choose_who_has_given_the_device_away(
    slow: Page, tank_side: TankSide
) -> None:
    """Jory's code is being asked for; Ade takes the device and starts a code of their own."""
    slow.goto(f"{tank_side.server.url}/tank/#E02")
    answers = kept_open(slow, "**/api/v1/persons/check")
    choose(slow, "Jory")
    until(slow, "document.getElementById('said').textContent === 'Checking the code'")
    slow.get_by_role("button", name="Other person").click()
    slow.get_by_role("button", name="Ade").click()
    heading(slow, "Ade Quillanter")
    came(slow, answers)
    answers[0].continue_()
    # Long after a right code would have been proved and kept.
    until(
        slow, "import('/static/tankside/session.js').then(it => it.knownHere()).then(ids => ids.length === 1)"
    )
    slow.get_by_role("button", name="1", exact=True).click()
    expect(slow.get_by_text("1 of 4 digits")).to_be_visible()
    stands(slow, "Ade Quillanter")
    expect(slow.locator("#bar")).to_contain_text("Nobody chosen")


def test_a_late_reading_to_be_mended_does_not_draw_over_the_tank(slow: Page, tank_side: TankSide) -> None:
    open_tank(slow, tank_side, "/tank/readings#E02")
    with held(slow):
        slow.evaluate("location.hash = 'mend/00000000-0000-4000-8000-000000000000'")
        waits(slow)
        slow.evaluate("location.hash = 'Q1'")
        heading(slow, "Reading, Quarantine fish")
    stands(slow, "Reading, Quarantine fish")


def test_a_late_slip_does_not_draw_over_the_chooser(slow: Page, tank_side: TankSide) -> None:
    open_tank(slow, tank_side, "/tank/slip")
    heading(slow, "Field slip")
    with held(slow):
        slow.evaluate("location.hash = 'mend/00000000-0000-4000-8000-000000000000'")
        waits(slow)
        slow.evaluate("import('/static/tankside/person.js').then(it => it.leave('Left.'))")
        waits(slow, 2)
    heading(slow, "Who are you?")
    expect(slow.get_by_text("Left.")).to_be_visible()


def test_late_count_sheets_do_not_draw_over_what_was_asked_for_after(slow: Page, tank_side: TankSide) -> None:
    """The list of sheets is asked of the server each time; an older answer must not win."""
    open_tank(slow, tank_side, "/tank/count")
    heading(slow, "Your count sheets")
    answers = kept_open(slow, "**/api/v1/count-sheets")
    for asked in ("first", "second"):
        slow.evaluate(f"location.hash = '{asked}'")
    until(slow, "location.hash === '#second'")
    came(slow, answers, 2)
    answers[1].continue_()
    expect(slow.get_by_text("“second” is no sheet of yours")).to_be_visible()
    with slow.expect_response("**/api/v1/count-sheets"):
        answers[0].continue_()
    slow.evaluate("hold.open()")
    assert slow.get_by_text("“second” is no sheet of yours").count() == 1
