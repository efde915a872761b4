"""Counting on the phone: blank boxes without signal, handed in once, and no number left for the next."""

import math
import random
import re
import statistics
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from census.rounds.actions.opening import open_census
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.sheets import issue
from census.rounds.models import Census, Count, CountEntry, Line, Sheet
from census.rounds.rules.passes import middle
from inventory.book.models import Place
from inventory.names.models import Taxon
from inventory.people.models import Person
from tests import factories

from .tank_side import TankSide, all_sent, choose, open_tank, phone, process, rows, tank_side
from .test_pages import violations

pytestmark = pytest.mark.browser
__all__ = ["phone", "process", "tank_side"]
# 15 mm at 96 dpi: CSS Values and Units Level 4, 6.2.
TOUCH_PX = math.floor(15 / 25.4 * 96)
EVERYTHING = """async () => {
  const found = [];
  for (const { name } of await indexedDB.databases()) {
    const db = await new Promise((ok) => {
      const open = indexedDB.open(name);
      open.onsuccess = () => ok(open.result);
    });
    for (const store of db.objectStoreNames) {
      found.push(await new Promise((ok) => {
        const all = db.transaction(store).objectStore(store).getAll();
        all.onsuccess = () => ok(JSON.stringify(all.result));
      }));
    }
    db.close();
  }
  found.push(JSON.stringify({ ...localStorage }), JSON.stringify({ ...sessionStorage }));
  for (const name of await caches.keys()) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) found.push(await (await cache.match(request)).text());
  }
  return found.join("\\n");
}"""


@dataclass
class Counting:
    """Kelp Hall is counted: by Jory, or by Jory and Ade."""

    census: Census
    sheet: Sheet
    ade: Person
    lines: dict[str, Line]

    def count(self, name: str, round_: int = 1) -> Count:
        return Count.objects.get(line=self.lines[name], round=round_, replaced_by=None)


@pytest.fixture
def counting(tank_side: TankSide) -> Counting:
    """7919373 gobies more in Kelp Hall, an improbable number; gobies are class C, a sheet is out to Jory."""
    now = tank_side.now
    Taxon.objects.filter(scientific_name="Pomatoschistus flavescens").update(count_class="C")
    Taxon.objects.filter(scientific_name="Pomatoschistus minutus").update(
        count_class="B", can_change_sex=True
    )
    Taxon.objects.filter(scientific_name="Echiichthys vipera").update(count_class="B")
    Taxon.objects.filter(scientific_name="Conger conger").update(count_class="A")
    long_ago = f"{now - timedelta(days=20):%Y-%m-%d}"
    factories.make_event(
        "received", lot="2025-1", place="E02", unknown=7919373, happened=long_ago,
        entered_by=tank_side.registrar, now=now,
    )  # fmt: skip
    today = timezone.localdate(now)
    period = factories.make_period("now", f"{today - timedelta(days=30)}", f"{today}")
    place = Place.objects.get(code="E02")
    place.windows = 2
    place.save()
    census = open_census(
        period=period, places=[place], by=tank_side.registrar, now=now, zone=timezone.get_current_timezone()
    )
    sheet = census.sheets.get()
    ade = Person.objects.get(name="Ade Quillanter")
    issue(sheet=sheet, by=tank_side.registrar, now=now, counters=[tank_side.aquarist])
    lines = {line.taxon.common_name: line for line in sheet.lines.select_related("taxon") if line.taxon}
    return Counting(census, Sheet.objects.get(pk=sheet.pk), ade, lines)


@pytest.fixture
def sheet(phone: Page, tank_side: TankSide, counting: Counting) -> Page:
    """Jory's sheet is open, and then there is no signal."""
    open_tank(phone, tank_side, "/tank/count")
    expect(phone.get_by_role("heading", level=1)).to_have_text("Your count sheets")
    phone.get_by_role("button", name="Kelp Hall").click()
    expect(phone.get_by_role("heading", level=1)).to_have_text("E02 Kelp Hall")
    phone.context.set_offline(True)
    return phone


def line(page: Page, name: str) -> Any:
    return page.locator("fieldset.card").filter(has=page.locator("legend", has_text=re.compile(f"^{name}$")))


def passes(page: Page, *numbers: int) -> None:
    for n, number in enumerate(numbers, start=1):
        line(page, "two-spotted goby").get_by_label(f"Pass {n}", exact=True).fill(str(number))


def hand_in(page: Page) -> None:
    page.get_by_role("button", name="Hand in", exact=True).click()


def test_a_sheet_counted_without_signal_is_handed_in_once(
    sheet: Page, tank_side: TankSide, counting: Counting
) -> None:
    before = timezone.now()
    hints = sheet.locator(".hints")
    expect(hints).to_contain_text("This tank has 2 windows")
    assert violations(sheet) == []
    expect(line(sheet, "two-spotted goby").get_by_label("Pass 1", exact=True)).to_have_value("")
    passes(sheet, 402, 431)
    goby = line(sheet, "two-spotted goby")
    expect(goby).to_contain_text("3 or more are wanted")
    passes(sheet, 402, 431, 388)
    expect(goby).to_contain_text("Middle 402, range 388 to 431, from 3 passes.")
    goby.get_by_label("Pass 4", exact=True).fill("")
    line(sheet, "lesser weever").get_by_label("How many").fill("0")
    sand = line(sheet, "sand goby")
    sand.get_by_label("How many").fill("9")
    sand.get_by_label("At least").check()
    sand.get_by_text("Of these, by sex").click()
    sand.get_by_label("Females").fill("4")
    sand.get_by_label("Not known").fill("5")
    expect(sheet.locator(".save")).to_contain_text("3 of 4 lines counted")
    sheet.get_by_role("button", name="Write one in").click()
    stray = sheet.locator("fieldset.card").last
    stray.get_by_label("What it is").fill("a small blenny")
    stray.get_by_label("How many").fill("1")
    stray.get_by_text("Note", exact=True).first.click()
    stray.get_by_label("Note", exact=True).fill("behind the pipe")
    hand_in(sheet)
    expect(sheet.locator(".ask")).to_contain_text("1 of 4 lines are blank: not counted")
    expect(sheet.locator(".ask")).to_contain_text("European conger")
    assert violations(sheet) == []
    sheet.get_by_role("button", name="Hand in as it is").click()
    expect(sheet.locator("p.big")).to_contain_text("Not yet sent")
    assert not Count.objects.exists()
    sheet.context.set_offline(False)
    all_sent(sheet)
    expect(sheet.locator("p.big")).to_contain_text("Saved and sent")
    assert violations(sheet) == []
    counted = counting.count("two-spotted goby")
    assert (counted.value, counted.low, counted.high, counted.counter) == (402, 388, 431, tank_side.aquarist)
    assert "402, 431, 388" in counted.method
    assert before - timedelta(seconds=5) <= counted.counted_at <= timezone.now()
    assert counting.count("lesser weever").value == 0
    least = counting.count("sand goby")
    assert (least.value, least.at_least, least.females, least.unknown) == (9, True, 4, 5)
    assert not Count.objects.filter(line=counting.lines["European conger"]).exists()
    written = Count.objects.get(line__written_name="a small blenny")
    assert (written.value, written.remark) == (1, "behind the pipe")
    assert Sheet.objects.get().state == "handed in"
    assert CountEntry.objects.count() == 1
    sheet.get_by_role("button", name="Your other sheets").click()
    expect(sheet.get_by_text("no sheet is issued to you")).to_be_visible()


def test_what_the_device_keeps_gives_no_number_away(
    sheet: Page, tank_side: TankSide, counting: Counting
) -> None:
    """All of IndexedDB, of the stores beside it and of the worker's caches, and the page itself, as bytes."""
    numbers = ("7919373", "7919573", "7,919,373", "7,919,573")
    kept = sheet.evaluate(EVERYTHING)
    assert counting.sheet.number in kept
    assert [number for number in (*numbers, "639739") if number in kept] == []
    assert [number for number in numbers if number in sheet.content()] == []
    passes(sheet, 639739, 639739, 639739)
    # So that the search means something: what is under way is found.
    expect(sheet.locator(".save")).to_contain_text("1 of 4")
    assert "639739" in sheet.evaluate(EVERYTHING)
    hand_in(sheet)
    sheet.get_by_role("button", name="Hand in as it is").click()
    expect(sheet.locator("p.big")).to_contain_text("Not yet sent")
    sheet.context.set_offline(False)
    all_sent(sheet)
    expect(sheet.locator("p.big")).to_contain_text("Saved and sent")
    ask_recount(
        lines=[counting.lines["two-spotted goby"]],
        of=counting.ade,
        by=tank_side.registrar,
        now=timezone.now(),
    )
    sheet.get_by_role("button", name="change person").click()
    choose(sheet, "Ade")
    sheet.get_by_role("button", name="Your other sheets").or_(
        sheet.get_by_role("button", name="Kelp Hall")
    ).click()
    expect(sheet.get_by_role("heading", level=1)).to_have_text("E02 Kelp Hall, count again")
    expect(sheet.locator("fieldset.card")).to_have_count(1)
    kept = sheet.evaluate(EVERYTHING) + sheet.content()
    assert [number for number in (*numbers, "639739") if number in kept] == []
    passes(sheet, 7, 8, 9)
    hand_in(sheet)
    all_sent(sheet)
    assert counting.count("two-spotted goby", 2).value == 8


def test_a_sheet_is_shown_to_its_counter_alone_and_keeps_what_they_wrote(
    sheet: Page, tank_side: TankSide, counting: Counting
) -> None:
    line(sheet, "lesser weever").get_by_label("How many").fill("3")
    moment = line(sheet, "lesser weever").locator(".moment").inner_text()
    assert re.fullmatch(r"Counted \d\d:\d\d", moment)
    expect(sheet.locator(".save")).to_contain_text("1 of 4")
    sheet.context.set_offline(False)
    sheet.get_by_role("button", name="change person").click()
    choose(sheet, "Ade")
    expect(sheet.get_by_text("no sheet is issued to you")).to_be_visible()
    assert "Pomatoschistus" not in sheet.locator("main").inner_text()
    sheet.get_by_role("button", name="change person").click()
    choose(sheet, "Jory")
    expect(line(sheet, "lesser weever").get_by_label("How many")).to_have_value("3")
    sheet.context.set_offline(True)
    sheet.reload()
    expect(line(sheet, "lesser weever").get_by_label("How many")).to_have_value("3")
    expect(line(sheet, "lesser weever").locator(".moment")).to_have_text(moment)


def test_known_animals_are_called_by_name_and_two_count_class_a(
    sheet: Page, tank_side: TankSide, counting: Counting
) -> None:
    counting.sheet.counters.add(counting.ade)
    conger = line(sheet, "European conger")
    conger.get_by_role("group", name="Thole").get_by_label("Not seen").check()
    hand_in(sheet)
    sheet.get_by_role("button", name="Hand in as it is").click()
    sheet.context.set_offline(False)
    all_sent(sheet)
    first = counting.count("European conger")
    assert [(one.lot.house_name, one.seen) for one in first.sightings.all()] == [("Thole", "not seen")]
    sheet.get_by_role("button", name="change person").click()
    choose(sheet, "Ade")
    sheet.get_by_role("button", name="Kelp Hall").click()
    expect(sheet.locator("fieldset.card")).to_have_count(1)
    conger.get_by_role("group", name="Thole").get_by_label("Seen", exact=True).check()
    hand_in(sheet)
    all_sent(sheet)
    second = counting.count("European conger", 2)
    assert (second.value, second.counter) == (1, counting.ade)


def test_an_answer_that_was_lost_makes_no_second_count(
    sheet: Page, tank_side: TankSide, counting: Counting
) -> None:
    """The server keeps it, the answer breaks off, the device sends it again."""
    line(sheet, "lesser weever").get_by_label("How many").fill("4")
    hand_in(sheet)
    sheet.get_by_role("button", name="Hand in as it is").click()
    expect(sheet.locator("p.big")).to_contain_text("Not yet sent")
    (row,) = rows(sheet)
    assert "4" not in row["words"].split(":")[1].replace("4 lines", "")
    body = {"sent_at": row["body"]["saved_at"], "entries": [row["body"]]}
    sheet.context.set_offline(False)
    sheet.evaluate(
        """async (body) => {
          const { token } = await (await import('/static/tankside/device.js')).device();
          await fetch('/api/v1/counts', { method: 'POST', body: JSON.stringify(body),
            headers: { Authorization: `Bearer ${token}`, 'Content-Type': 'application/json' } });
        }""",
        body,
    )
    all_sent(sheet)
    assert CountEntry.objects.count() == Count.objects.count() == 1
    assert [row["state"] for row in rows(sheet)] == ["sent"]


def test_what_came_back_is_mended_by_its_counter(
    sheet: Page, tank_side: TankSide, counting: Counting
) -> None:
    # The sheet is taken from Jory while there is no signal, and given back after.
    counting.sheet.counters.set([counting.ade])
    line(sheet, "lesser weever").get_by_label("How many").fill("4")
    hand_in(sheet)
    sheet.get_by_role("button", name="Hand in as it is").click()
    sheet.context.set_offline(False)
    all_sent(sheet)
    expect(sheet.locator("p.big")).to_contain_text("It came back")
    expect(sheet.get_by_text("is not issued to Jory")).to_be_visible()
    counting.sheet.counters.set([tank_side.aquarist])
    sheet.get_by_role("button", name="Mend it").click()
    weever = line(sheet, "lesser weever").get_by_label("How many")
    expect(weever).to_have_value("4")
    weever.fill("5")
    hand_in(sheet)
    sheet.get_by_role("button", name="Hand in as it is").click()
    all_sent(sheet)
    expect(sheet.locator("p.big")).to_contain_text("Saved and sent")
    assert [count.value for count in Count.objects.all()] == [5]


@pytest.mark.parametrize(
    ("typed", "says"), [("ten", "“ten” is no whole number"), ("-1", "“-1” is no whole number")]
)
def test_a_slip_of_the_hand_is_told(sheet: Page, typed: str, says: str) -> None:
    line(sheet, "lesser weever").get_by_label("How many").fill(typed)
    hand_in(sheet)
    expect(sheet.get_by_role("alert")).to_contain_text(says)
    line(sheet, "lesser weever").get_by_label("How many").fill("")
    sand = line(sheet, "sand goby")
    sand.get_by_label("How many").fill("9")
    sand.get_by_text("Of these, by sex").click()
    sand.get_by_label("Females").fill("4")
    hand_in(sheet)
    expect(sheet.get_by_role("alert")).to_contain_text("4 by sex, but 9 in all")
    assert rows(sheet) == []


def test_the_sheet_fits_the_phone_and_a_wet_hand(sheet: Page) -> None:
    small = sheet.locator("main button, main input, main summary").evaluate_all(
        "all => all.map(one => one.getBoundingClientRect())"
        ".filter(box => box.width).map(box => [Math.round(box.width), Math.round(box.height)])"
    )
    assert [box for box in small if min(box) < TOUCH_PX] == []
    assert sheet.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")


def test_the_device_works_out_the_same_middle_as_the_server(phone: Page) -> None:
    """And both the median of the standard library, half an animal rounded up."""
    drawn = random.Random(42)
    many = [[drawn.randrange(10_000) for _ in range(drawn.randrange(1, 31))] for _ in range(200)]
    shown = phone.evaluate(
        "many => import('/static/rounds/passes.js').then(({ middle }) => many.map(middle))", many
    )
    assert shown == [middle(passes) for passes in many]
    assert shown == [math.floor(statistics.median(passes) + 0.5) for passes in many]
