"""A real browser on a live server, with the console and the network watched."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

_HERE = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Tests of this folder, and no others, are tried again twice before they have failed.

    A browser, its pages' workers, a server and a database share a crowded machine here, and a timeout of
    Playwright's may end first. The run's summary names each that was tried again (-r R): it is looked at.
    Everywhere else a test that fails once has failed.
    """
    for item in items:
        if item.path.is_relative_to(_HERE):
            item.add_marker(pytest.mark.flaky(reruns=2))


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Browser]:
    """One browser for a module; each test has a context of its own."""
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """A clean browser with nobody signed in."""
    opened = browser.new_context(viewport={"width": 1280, "height": 800})
    yield opened
    opened.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A page; the test fails when the console said anything bad or a script broke."""
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None)
    opened.on("pageerror", lambda error: said.append(str(error)))
    yield opened
    assert said == []
