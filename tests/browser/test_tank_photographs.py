"""A photograph with an entry: kept with it on the device, sent after it, once, and never in its way."""

from io import BytesIO
from typing import Any, Literal

import pytest
from axe_core_python.sync_playwright import Axe  # type: ignore[import-untyped]
from django.utils import timezone
from PIL import ExifTags, Image
from playwright.sync_api import Page, Route, ViewportSize, expect

from inventory.book.queries.documents import read_document
from inventory.people.models import Device
from inventory.tankside.models import EntryPicture

from .tank_side import (
    TankSide,
    all_sent,
    each_is_one_event,
    enrol,
    open_tank,
    phone,
    phone_without_worker,
    process,
    tank_side,
    until,
    watch,
)  # fmt: skip

pytestmark = pytest.mark.browser
__all__ = ["phone", "phone_without_worker", "process", "tank_side"]

PICTURES = """import('/static/tankside/store.js').then(it => it.pictureRows())
    .then(rows => rows.map(row => ({ ...row, data: row.data && [...new Uint8Array(row.data)] })))"""
NONE_WAITS = """import('/static/tankside/picture_outbox.js').then(it => it.waitingPictures())
    .then(rows => rows.length === 0)"""
SEND = "import('/static/tankside/outbox.js').then(it => it.sendEverything())"
MARKS = b"near the pier"
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")


def _photograph(width: int = 2400, height: int = 1800, colour: str = "teal") -> bytes:
    """As a telephone writes it: with its position (Exif 2.3, CIPA DC-008) and a comment."""
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.GPSInfo)[ExifTags.GPS.GPSLatitude] = (58.0, 14.0, 59.0)
    out = BytesIO()
    Image.new("RGB", (width, height), colour).save(out, "JPEG", exif=exif, comment=MARKS)
    return out.getvalue()


def _choose_picture(page: Page, content: bytes | None = None, name: str = "IMG_1.jpg") -> None:
    page.get_by_label("Choose a picture").set_input_files(
        {"name": name, "mimeType": "image/jpeg", "buffer": content or _photograph()}
    )


def _pictured_death(page: Page, animal: str = "two-spotted goby") -> None:
    page.get_by_role("button", name=animal).click()
    page.get_by_role("button", name="Died").click()
    _choose_picture(page)
    expect(page.get_by_role("img", name="Picture 1")).to_be_visible()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_be_visible()


def _kept(page: Page) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate(PICTURES)
    return found


def _one_picture_of_each(page: Page) -> None:
    """Every picture of the device is one of the house, with the entry that it was taken for."""
    until(page, NONE_WAITS)
    kept = {(row["identifier"], row["entry"]) for row in _kept(page)}
    house = EntryPicture.objects.values_list("identifier", "entry__identifier")
    assert {(str(picture), str(entry)) for picture, entry in house} == kept
    assert EntryPicture.objects.count() == len(kept)
    assert all(row["data"] is None for row in _kept(page))


def test_a_picture_waits_without_signal_over_a_closed_tab_and_is_sent_once(
    phone: Page, tank_side: TankSide
) -> None:
    open_tank(phone, tank_side)
    until(phone, "navigator.serviceWorker.ready.then(it => it.active?.state === 'activated')")
    tank_side.server.kill()
    _pictured_death(phone)
    expect(phone.get_by_text("1 picture kept here, not yet sent")).to_be_visible()
    (row,) = _kept(phone)
    drawn = Image.open(BytesIO(bytes(row["data"])))
    assert (drawn.format, drawn.size) == ("JPEG", (1600, 1200))
    assert not drawn.getexif()
    assert MARKS not in bytes(row["data"])
    context = phone.context
    phone.close()
    second = context.new_page()
    watch(second)
    tank_side.server.start()
    second.goto(f"{tank_side.server.url}/tank/")
    all_sent(second)
    each_is_one_event(second)
    _one_picture_of_each(second)
    kept = EntryPicture.objects.select_related("document").get()
    assert Image.open(BytesIO(read_document(kept.document))).size == (1600, 1200)
    second.close()


def test_the_entry_is_sent_while_its_picture_is_not(phone_without_worker: Page, tank_side: TankSide) -> None:
    """The picture's way is blocked; then its answer is lost on the way back; then it goes."""
    page, tried = phone_without_worker, []

    def lose(route: Route) -> None:
        tried.append(route.request.url)
        if len(tried) == 2:
            route.fetch()
        route.abort()

    page.route("**/pictures/*", lose)
    open_tank(page, tank_side)
    _pictured_death(page)
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    expect(page.locator("#badge")).to_have_text("1 picture not yet sent")
    each_is_one_event(page)
    until(page, f"{SEND}.then(() => true)")
    assert len(tried) == 2
    assert EntryPicture.objects.count() == 1
    assert [row["state"] for row in _kept(page)] == ["waiting"]
    page.unroute("**/pictures/*")
    until(page, f"{SEND}.then(() => true)")
    expect(page.locator("#badge")).to_have_text("All sent")
    expect(page.get_by_text("1 picture sent.")).to_be_visible()
    _one_picture_of_each(page)


def test_two_tabs_send_it_once(phone_without_worker: Page, tank_side: TankSide) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.context.set_offline(True)
    _pictured_death(page)
    second = page.context.new_page()
    page.context.set_offline(False)
    second.goto(f"{tank_side.server.url}/tank/")
    for tab in (page, second):
        tab.evaluate("dispatchEvent(new Event('online'))")
    all_sent(page)
    _one_picture_of_each(page)


def test_it_is_added_after_saving_and_an_undone_entry_keeps_it(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.get_by_role("button", name="lesser weever").click()
    page.get_by_role("button", name="Died").click()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    _choose_picture(page)
    expect(page.get_by_text("1 picture sent.")).to_be_visible()
    page.get_by_role("button", name="Undo (10 min left)").click()
    expect(page.locator("p.big")).to_contain_text("Undone.")
    all_sent(page)
    _one_picture_of_each(page)
    assert EntryPicture.objects.get().entry.undone_by is not None


def test_an_entry_that_came_back_hands_its_picture_to_the_mended_one(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.get_by_role("button", name="lesser weever").click()
    page.get_by_role("button", name="9", exact=True).click()
    page.get_by_role("button", name="Moved").click()
    page.get_by_label("To which tank").select_option("Q1")
    _choose_picture(page)
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_contain_text("It came back.")
    assert not EntryPicture.objects.exists()
    page.get_by_role("button", name="Mend it").click()
    expect(page.get_by_text("Its picture goes with it.")).to_be_visible()
    page.get_by_label("I count more than the book").check()
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("1 picture sent.")).to_be_visible()
    _one_picture_of_each(page)
    assert EntryPicture.objects.get().entry.replaces is not None


def test_a_file_that_is_no_picture_is_refused_in_words_and_the_entry_goes(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.get_by_role("button", name="two-spotted goby").click()
    page.get_by_role("button", name="Died").click()
    _choose_picture(page, b"\x00\x00\x00\x18ftypheic" + bytes(40), "IMG_1.HEIC")
    expect(page.get_by_role("alert")).to_contain_text("This is a HEIC file")
    _choose_picture(page, b"no picture at all", "notes.jpg")
    expect(page.get_by_role("alert")).to_contain_text("cannot be opened as a picture")
    _choose_picture(page)
    page.get_by_role("button", name="Leave it out").click()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    each_is_one_event(page)
    assert _kept(page) == []


def test_a_device_without_room_for_the_picture_keeps_the_entry_and_says_so(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.evaluate("""() => {
        const put = IDBObjectStore.prototype.put;
        IDBObjectStore.prototype.put = function (row, ...more) {
            if (this.name === "pictures") throw new DOMException("full", "QuotaExceededError");
            return put.call(this, row, ...more);
        };
    }""")
    _pictured_death(page)
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    expect(page.get_by_text("1 picture not kept: no room on this device")).to_be_visible()
    each_is_one_event(page)


def test_a_picture_that_the_server_refuses_comes_back_to_its_author(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    page.route("**/pictures/*", lambda route: route.continue_(post_data=b"spoilt on the way"))
    open_tank(page, tank_side)
    _pictured_death(page)
    expect(page.get_by_text("A picture came back.")).to_contain_text("cannot be opened as a picture")
    page.get_by_role("button", name="Other tank").click()
    expect(page.get_by_role("link", name="1 of your pictures came back: look")).to_be_visible()
    page.get_by_role("link", name="1 of your pictures came back: look").click()
    page.get_by_role("button", name="I have read it").click()
    expect(page.get_by_text("A picture came back.")).to_have_count(0)
    each_is_one_event(page)


def test_a_revoked_device_keeps_its_pictures_until_it_is_enrolled_again(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.route("**/pictures/*", lambda route: route.abort())
    _pictured_death(page)
    expect(page.locator("p.big")).to_contain_text("Saved and sent.")
    now = timezone.now()
    Device.objects.filter(pk=tank_side.device.pk).update(revoked_at=now, revoked_by=tank_side.registrar)
    page.unroute("**/pictures/*")
    until(page, f"{SEND}.then(() => true)")
    until(
        page,
        "import('/static/tankside/device.js').then(it => it.device()).then(it => it.state === 'revoked')",
    )
    assert [row["state"] for row in _kept(page)] == ["waiting"]
    Device.objects.filter(pk=tank_side.device.pk).update(revoked_at=None, revoked_by=None)
    enrol(page, tank_side)
    open_tank(page, tank_side)
    all_sent(page)
    _one_picture_of_each(page)


# The store as the page before this one made it, with what waited in it.
AS_BEFORE = """async () => {
    const { openDB, deleteDB } = await import('/static/vendor/idb-8.0.4/index.js');
    const name = 'tidetally-tank-side';
    const now = await openDB(name);
    const outbox = await now.getAll('outbox');
    const keys = await now.getAllKeys('kept');
    const kept = await now.getAll('kept');
    now.close();
    await deleteDB(name);
    const old = await openDB(name, 1, { upgrade(db) {
        const made = db.createObjectStore('outbox', { keyPath: 'sequence', autoIncrement: true });
        made.createIndex('identifier', 'identifier', { unique: true });
        made.createIndex('state', 'state');
        db.createObjectStore('kept');
    } });
    for (const { pictures, ...row } of outbox) await old.add('outbox', row);
    for (const [i, key] of keys.entries()) await old.put('kept', kept[i], key);
    // As the page before: it makes room for a newer one.
    globalThis.old = old;
    globalThis.madeRoom = false;
    old.addEventListener('versionchange', () => { old.close(); globalThis.madeRoom = true; });
    return [old.version, outbox.length];
}"""


def test_what_waits_of_the_page_before_pictures_is_sent_and_pictures_can_be_added(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    """The page of the version before is still open in another tab while this one adds its store."""
    page = phone_without_worker
    open_tank(page, tank_side)
    page.route("**/api/v1/entries", lambda route: route.abort())
    for _ in range(3):
        page.get_by_role("button", name="two-spotted goby").click()
        page.get_by_role("button", name="Died").click()
        page.get_by_role("button", name="Save").click()
        page.get_by_role("button", name="Another animal in").click()
    context = page.context
    page.goto(f"{tank_side.server.url}/tank/manifest.webmanifest")
    assert page.evaluate(AS_BEFORE) == [1, 3]
    new = context.new_page()
    watch(new)
    open_tank(new, tank_side)
    assert page.evaluate("madeRoom")
    _pictured_death(new, "lesser weever")
    all_sent(new)
    assert len(each_is_one_event(new)) == 4
    _one_picture_of_each(new)
    new.close()


def test_nothing_of_the_picture_is_wrong_with_the_pages(
    phone_without_worker: Page, tank_side: TankSide
) -> None:
    page = phone_without_worker
    open_tank(page, tank_side)
    page.get_by_role("button", name="two-spotted goby").click()
    page.get_by_role("button", name="Died").click()
    _choose_picture(page)
    expect(page.get_by_role("img", name="Picture 1")).to_be_visible()
    sizes: list[ViewportSize] = [{"width": 360, "height": 640}, {"width": 820, "height": 1180}]
    for size in sizes:
        page.set_viewport_size(size)
        for scheme in SCHEMES:
            page.emulate_media(color_scheme=scheme)
            assert _broken(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
        for tile in page.locator("label.tile:has(input[type=file])").all():
            box = tile.bounding_box()
            assert box is not None
            assert box["height"] >= 56.6
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("1 picture sent.")).to_be_visible()
    assert _broken(page) == []


def _broken(page: Page) -> list[Any]:
    found = Axe().run(page)
    return [(one["id"], [node["html"][:160] for node in one["nodes"]]) for one in found["violations"]]
