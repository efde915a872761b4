"""Takes the README's pictures from a running demo: .venv/bin/python .docs/take_pictures.py [ADDRESS]

Look at each before it is committed.
"""

import io
import shutil
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

PICTURES = Path(__file__).resolve().parent / "pictures"
# name: page, and a heading or row to begin at (blank: the top)
SHOTS = {
    "today": ("/", ""),
    "lot": ("/lot/0001028", ""),
    "names": ("/names", ""),
    "census": ("/census/CS-26Q3", ""),
    "differences": ("/census/CS-26Q3/differences", ""),
    "change": ("/change?columns=short", "Unit: animal"),
}
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
            _take(page, f"{address}{path}", begin, PICTURES / f"{name}.png")
        browser.close()


def _take(page: Page, url: str, begin: str, file: Path) -> None:
    page.goto(url)
    if begin:
        page.get_by_text(begin).first.evaluate("node => node.scrollIntoView({block: 'start'})")
    # Few colours are in the pages, and few bytes are enough.
    Image.open(io.BytesIO(page.screenshot())).quantize(128).save(file, optimize=True)


if __name__ == "__main__":
    main(sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8000")
