"""The tank side's pages, worker and manifest: complete, the same for everybody, and empty of the book."""

import re
import struct
from collections.abc import Callable
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.test import Client

from inventory.people.rules.roles import Role
from inventory.tankside.readers import shell_files
from inventory.tankside.rules.pages import PAGES

from .. import factories

IMPORTED = re.compile(r'^(?:import|export)\b[^;]*?from "(\./[^"]+|\.\./[^"]+)";', re.M)
OWN = "/static/"


def _kept(client: Client) -> dict[str, str]:
    """What the worker keeps: address and hash."""
    return dict(re.findall(r'^  "([^"]+)": "([0-9a-f]{64})",$', client.get("/tank/sw.js").text, re.M))


def _needed(address: str, found: set[str]) -> set[str]:
    """A module and all that it imports, by their addresses."""
    if address not in found:
        found.add(address)
        path = finders.find(address.removeprefix(OWN))
        assert isinstance(path, str), f"{address} is not there"
        for name in IMPORTED.findall(Path(path).read_text(encoding="utf-8")):
            folder = Path(address).parent
            target = folder / name
            _needed("/" + "/".join(_plain(target.parts[1:])), found)
    return found


def _plain(parts: tuple[str, ...]) -> list[str]:
    plain: list[str] = []
    for part in parts:
        if part == "..":
            plain.pop()
        elif part != ".":
            plain.append(part)
    return plain


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.url)
def test_the_worker_keeps_all_that_a_page_needs(client: Client, page: object) -> None:
    """Without one module of twenty the page does not open in the plant room, and nobody sees it here."""
    kept = _kept(client)
    url = page.url  # type: ignore[attr-defined]
    text = client.get(url).text
    assert url in kept
    modules = re.findall(r'<script type="module" src="([^"]+)"', text)
    assert modules
    sheets = re.findall(r'<link rel="stylesheet" href="([^"]+)"', text)
    needed = set().union(*(_needed(module, set()) for module in modules), sheets)
    assert needed - set(kept) == set()
    assert len(needed) > 10


def test_a_changed_file_is_a_new_version(client: Client, monkeypatch: pytest.MonkeyPatch) -> None:
    before = client.get("/tank/sw.js").text
    assert client.get("/tank/sw.js").text == before
    hashes = shell_files.static_hashes()
    name = "/static/tankside/outbox.js"
    monkeypatch.setattr(
        "inventory.tankside.views_app.static_hashes", lambda: hashes | {name: shell_files.digest(b"other")}
    )
    after = client.get("/tank/sw.js").text
    assert _version(after) != _version(before)
    assert after.count("\n") == before.count("\n")


def _version(worker: str) -> str:
    found = re.search(r"const CACHE = `\$\{PREFIX\}([0-9a-f]{16})`;", worker)
    assert found
    return found[1]


def test_a_page_that_names_a_missing_file_is_no_version(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(shell_files, "COMMON_FILES", ("tankside/nowhere.js",))
    with pytest.raises(FileNotFoundError, match=r"tankside/nowhere\.js"):
        client.get("/tank/sw.js")


def test_the_worker_is_asked_for_afresh_and_may_serve_the_tank_side_only(client: Client) -> None:
    response = client.get("/tank/sw.js")
    assert response.headers["Content-Type"].startswith("text/javascript")
    assert response.headers["Service-Worker-Allowed"] == "/tank/"
    assert "no-store" in response.headers["Cache-Control"]


def test_a_browser_whose_worker_cannot_import_gets_one_that_does_not(client: Client) -> None:
    assert re.search(r"^import ", client.get("/tank/sw.js").text, re.M)
    classic = client.get("/tank/sw.js?classic").text
    assert not re.search(r"^import ", classic, re.M)
    assert "send()" not in classic


def test_the_pages_are_the_same_for_everybody_and_hold_nothing_of_the_house(db: None, client: Client) -> None:
    registrar = factories.make_person(
        "Maren Tolvsund", roles=[Role.REGISTRAR], password="wet hands, no signal"
    )
    factories.make_house(registrar=registrar, name="Skerry Aquarium")
    factories.make_event("received", lot=factories.make_lot("A1"), unknown=7919373, entered_by=registrar)
    signed_in = Client()
    assert registrar.user
    signed_in.force_login(registrar.user)
    for url in [*(page.url for page in PAGES), "/tank/sw.js", "/tank/manifest.webmanifest"]:
        seen, by_her = client.get(url), signed_in.get(url)
        assert seen.content == by_her.content, url
        assert not re.search("Skerry|Tolvsund|7919373|csrf", seen.text), url
        assert not seen.cookies, url
        assert "default-src 'self'" in seen.headers["Content-Security-Policy"]
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|<script(?! type=\"module\" src=)", seen.text), url


def test_the_pages_ask_nothing_of_the_database(
    db: None, client: Client, django_assert_num_queries: Callable[..., object]
) -> None:
    with django_assert_num_queries(0):  # type: ignore[attr-defined]
        for url in [*(page.url for page in PAGES), "/tank/sw.js", "/tank/manifest.webmanifest"]:
            assert client.get(url).status_code == 200


def test_the_manifest_makes_it_installable(client: Client) -> None:
    """Name, start address, display, icons of 192 and 512 px: members of the W3C Web Application Manifest."""
    response = client.get("/tank/manifest.webmanifest")
    assert response.headers["Content-Type"] == "application/manifest+json"
    manifest = response.json()
    assert (manifest["start_url"], manifest["scope"], manifest["display"]) == (
        "/tank/",
        "/tank/",
        "standalone",
    )
    assert manifest["orientation"] == "portrait"
    sizes = set()
    for icon in manifest["icons"]:
        path = finders.find(icon["src"].removeprefix(OWN))
        assert isinstance(path, str), icon
        if icon["type"] == "image/png":
            # Width and height stand at bytes 16 to 24 (PNG, 11.2.1 IHDR).
            assert "{}x{}".format(*struct.unpack(">II", Path(path).read_bytes()[16:24])) == icon["sizes"]
            sizes.add((icon["sizes"], icon["purpose"]))
    assert {("192x192", "any"), ("512x512", "any"), ("512x512", "maskable")} <= sizes
