"""Takes the README's pictures from a running demo: .venv/bin/python .docs/take_pictures.py [ADDRESS]

Look at each before it is committed.
"""

import io
import shutil
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, expect, sync_playwright

PICTURES = Path(__file__).resolve().parent / "pictures"
# name: page, and a heading or row to begin at (blank: the top)
SHOTS = {
    "today": ("/", ""),
    "lot": ("/lot/0001028", ""),
    "names": ("/names", ""),
    "census": ("/census/CS-26Q3", ""),
    "differences": ("/census/CS-26Q3/differences", ""),
    "line": ("/sheet/CS-26Q3-02/line/3", "What may lie behind it"),
    "change": ("/change?columns=short", "Unit: animal"),
    "permit": ("/permit/2", "What is used"),
    "sources": ("/lot-sources/0001028", ""),
    "loan": ("/loan/2", ""),
}
# Taller than the others: what the README says of them stands further down.
TALL = {"lot": 1040, "census": 1240, "line": 900}
PHONE = {"width": 360, "height": 640}
BETWEEN = 16
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


def main(address: str) -> None:
    with sync_playwright() as playwright:
        chromium = shutil.which("chromium") or shutil.which("google-chrome")
        browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        page = browser.new_page(viewport={"width": 1480, "height": 760})
        page.goto(f"{address}/sign-in")
        page.fill("input[name=username]", "maren")
        page.fill("input[name=password]", "maren-counts-at-ebb")
        page.click("main button[type=submit]")
        for name, (path, begin) in SHOTS.items():
            page.set_viewport_size({"width": 1480, "height": TALL.get(name, 760)})
            _take(page, f"{address}{path}", begin, PICTURES / f"{name}.png")
        _at_the_tank(browser, address, _words_for_the_boat(page, address))
        browser.close()


def _words_for_the_boat(page: Page, address: str) -> str:
    """As the registrar does it, on the page Devices."""
    page.goto(f"{address}/devices")
    page.get_by_role("row", name="Boat").get_by_role("button", name="Enrol").click()
    return page.locator("p.secret").inner_text()


def _at_the_tank(browser: Browser, address: str, words: str) -> None:
    """A death with signal, which is undone, and one without, which never leaves the device."""
    phone = browser.new_page(viewport=PHONE, locale="en-GB", has_touch=True, is_mobile=True)
    phone.goto(f"{address}/tank/enrol#{words.replace(' ', '-')}")
    _press(phone, "Enrol this device")
    expect(phone.get_by_text("This device is Boat.")).to_be_visible()
    phone.goto(f"{address}/tank/#E07")
    phone.get_by_role("button", name="Sunniva").click()
    for digit in "4071":
        _press(phone, digit)
    expect(phone.get_by_role("heading", name="E07")).to_be_visible()
    phone.mouse.move(0, 0)
    taps = [_seen(phone)]
    phone.get_by_role("button", name="rugose squat lobster").click()
    _press(phone, "2")
    taps.append(_seen(phone))
    _press(phone, "Died")
    _press(phone, "Save")
    expect(phone.locator("p.big")).to_contain_text("Saved and sent.")
    taps.append(_seen(phone))
    _side_by_side(taps, "tank_death")
    phone.get_by_role("button", name="Undo").click()
    expect(phone.locator("p.big")).to_contain_text("Undone.")

    _press(phone, "Other tank")
    phone.get_by_role("button", name="Skerry Caves").click()
    phone.get_by_role("button", name="Grindle").click()
    _press(phone, "Died")
    phone.get_by_role("radio", name="For the vet").check()
    phone.evaluate("scrollTo(0, 0)")
    without = [_seen(phone)]
    phone.context.set_offline(True)
    _press(phone, "Save")
    expect(phone.locator("p.big")).to_contain_text("Not yet sent")
    without.append(_seen(phone))
    phone.locator("#badge").click()
    expect(phone.get_by_role("heading", name="Entries of this device")).to_be_visible()
    without.append(_seen(phone))
    _side_by_side(without, "tank_no_signal")


def _press(page: Page, words: str) -> None:
    page.get_by_role("button", name=words, exact=True).click()


def _seen(phone: Page) -> Image.Image:
    return Image.open(io.BytesIO(phone.screenshot()))


def _side_by_side(screens: list[Image.Image], name: str) -> None:
    width = sum(screen.width + BETWEEN for screen in screens) - BETWEEN
    picture = Image.new("RGB", (width, screens[0].height), "#888888")
    for n, screen in enumerate(screens):
        picture.paste(screen, (n * (screen.width + BETWEEN), 0))
    picture.quantize(64).save(PICTURES / f"{name}.png", optimize=True)


def _take(page: Page, url: str, begin: str, file: Path) -> None:
    page.goto(url)
    if begin:
        page.get_by_text(begin).first.evaluate("node => node.scrollIntoView({block: 'start'})")
    # Few colours are in the pages, and few bytes are enough. With half as many one number loses its colour.
    Image.open(io.BytesIO(page.screenshot())).quantize(256).save(file, optimize=True)


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8000")
