"""Pictures of animals on a device: beside the name, without signal, and gone when the device is revoked."""

from typing import Any

import pytest
from axe_core_python.sync_playwright import Axe  # type: ignore[import-untyped]
from django.utils import timezone
from playwright.sync_api import Locator, Page, expect

from inventory.book.models import Lot
from inventory.names.models import Taxon
from inventory.people.models import Device
from inventory.tankside.actions.pictures import take_picture_away

from ..factories import make_picture
from .tank_side import TankSide, open_tank, phone, phone_without_worker, process, tank_side, until, watch

pytestmark = pytest.mark.browser
__all__ = ["phone", "phone_without_worker", "process", "tank_side"]

# 15 mm at 96 px to the inch.
FINGER_PX = 56.6
SQUARE_PX = 56
REFRESHED = "import('/static/tankside/lists.js').then(it => it.refresh())"


def _kept(n: int) -> str:
    return (
        f"import('/static/tankside/store.js').then(it => it.keysOf('picture:')).then(it => it.length === {n})"
    )


def _animal(page: Page, name: str) -> Locator:
    return page.get_by_role("button", name=name)


@pytest.fixture
def pictured(tank_side: TankSide) -> TankSide:
    """The two-spotted goby has a picture, and so has Thole, the conger; the others have none."""
    goby = Taxon.objects.get(scientific_name="Pomatoschistus flavescens")
    make_picture(goby, by=tank_side.registrar, colour="teal", now=timezone.now())
    make_picture(
        Lot.objects.get(accession="2025-4"), by=tank_side.aquarist, colour="maroon", now=timezone.now()
    )
    return tank_side


def test_the_picture_stands_beside_the_name_without_signal(pictured: TankSide, phone: Page) -> None:
    open_tank(phone, pictured)
    until(phone, _kept(2))
    until(phone, "navigator.serviceWorker.ready.then(it => it.active?.state === 'activated')")
    pictured.server.kill()
    second = phone.context.new_page()
    watch(second)
    open_tank(second, pictured)
    for name, with_picture in (("two-spotted goby", True), ("Thole", True), ("sand goby", False)):
        button = _animal(second, name)
        mark = button.locator(".mark")
        expect(button.locator("img.mark")).to_have_count(int(with_picture))
        box, whole = mark.bounding_box(), button.bounding_box()
        assert box is not None
        assert whole is not None
        assert box["height"] == pytest.approx(SQUARE_PX, abs=1)
        assert whole["height"] >= FINGER_PX
        if with_picture:
            assert box["width"] == pytest.approx(SQUARE_PX, abs=1)
            assert mark.get_attribute("alt") == ""
            until(second, "Promise.resolve([...document.images].every(it => it.naturalWidth === 160))")
    expect(_animal(second, "sand goby").locator(".mark")).to_have_text("PM")
    assert _broken(second) == []
    _animal(second, "Thole").click()
    expect(second.locator(".under img.mark")).to_be_visible()
    assert _broken(second) == []


def test_pictures_are_forgotten_when_taken_away_and_when_the_device_is_revoked(
    pictured: TankSide, phone_without_worker: Page
) -> None:
    page = phone_without_worker
    open_tank(page, pictured)
    until(page, _kept(2))
    take_picture_away(of=Lot.objects.get(accession="2025-4"), by=pictured.aquarist, now=timezone.now())
    page.evaluate(REFRESHED)
    until(page, _kept(1))
    now = timezone.now()
    Device.objects.filter(pk=pictured.device.pk).update(revoked_at=now, revoked_by=pictured.registrar)
    page.evaluate(REFRESHED)
    until(page, _kept(0))


def _broken(page: Page) -> list[Any]:
    found = Axe().run(page)
    return [(one["id"], [node["html"][:160] for node in one["nodes"]]) for one in found["violations"]]
