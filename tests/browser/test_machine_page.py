"""The page of the machine with backups and something wrong: no barrier, and nothing wider than a phone."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from pytest_django import Settings

from inventory.people.models import Person
from inventory.site.backup.retention import name_at

from .test_pages import SignIn, house, sign_in, violations

__all__ = ["house", "sign_in"]
pytestmark = pytest.mark.browser


def test_the_machine_tells_of_its_backups_on_a_phone_and_in_the_dark(
    page: Page, house: Person, sign_in: SignIn, live_server: object, settings: Settings, tmp_path: Path
) -> None:
    settings.BACKUP_FOLDER = tmp_path
    for days in (4, 5, 12):
        name = name_at(datetime.now(UTC) - timedelta(days=days), encrypted=True)
        (tmp_path / name).write_bytes(b"x" * 5_000_000)
    sign_in(page)
    page.get_by_role("link", name="Machine", exact=True).click()
    expect(page.get_by_text("the newest backup is 4 days old")).to_be_visible()
    expect(page.locator("table.ledger tbody tr")).to_have_count(3)
    expect(page.locator("table.ledger caption")).to_contain_text("3 backups in")
    assert violations(page) == []
    page.set_viewport_size({"width": 360, "height": 740})
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    page.emulate_media(color_scheme="dark")
    assert violations(page) == []
    with page.expect_download() as paper:
        page.get_by_role("link", name="Paper to print and sign").click()
    assert paper.value.suggested_filename.startswith("head-of-the-chain-")
