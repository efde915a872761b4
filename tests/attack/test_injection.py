"""A house of whose every text an attacker wrote: each page and file shows it back as text and nothing else.

The strings are put under the doors, straight into the tables, so that what a form would refuse is shown too.
"""

import csv
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from io import BytesIO, StringIO
from typing import Any
from urllib.parse import unquote, urljoin, urlsplit
from xml.etree import ElementTree

import openpyxl
import pytest
from django.contrib.auth.models import Group
from django.db import transaction
from django.http import HttpResponseBase
from django.test import Client
from django.urls import Resolver404, resolve
from icalendar import Calendar
from pypdf import PdfReader
from pytest_django import DjangoDbBlocker

from inventory.people.models import Person
from inventory.people.rules.roles import Role
from tests import factories
from tests.rounds.blind_walk import names_in, patterns

from ..demo.conftest import DemoHouse, house
from .poison import LEFT_OUT, is_poisoned, poison, text_columns

__all__ = ["house"]  # the demo house, for this module

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock"), pytest.mark.slow]

# Addresses of one view: more of the same show the same columns.
EACH_VIEW = 3
_CODE = re.compile(r"\s*(?:javascript|vbscript|data\s*:\s*text/html)", re.IGNORECASE)
_LITERAL = re.compile(r'"(?:[^"]|"")*"')
# The triggers are off, which /health rightly tells.
ENDS = ("/sign-out", "/health")


class Page(HTMLParser):
    """Elements that the evil string made, what stands inline, links, and all text."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.made: list[str] = []
        # What the Content-Security-Policy would not run or show: no page of the house may need it.
        self.inline: list[str] = []
        self.links: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = dict(attrs)
        if said.get("id") == "evil" or any(name.startswith("on") for name in said):
            self.made.append(f"<{tag} {attrs}>")
        if tag == "style" or "style" in said or (tag == "script" and not _may_stand(said)):
            self.inline.append(f"<{tag} {attrs}>")
        self.inline += [name for name in said if name.startswith("on")]
        led = [link for name in ("href", "src", "action", "formaction") if (link := said.get(name))]
        self.inline += [link for link in led if _CODE.match(link)]
        self.links += led

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def _may_stand(script: dict[str, str | None]) -> bool:
    """A file of the house, or data that nobody runs (HTML, section 4.12.1)."""
    return bool(script.get("src")) or script.get("type") == "application/json"


@dataclass
class Seen:
    """What was opened, by view, and what was wrong."""

    views: Counter[str] = field(default_factory=Counter)
    kinds: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    shown: int = 0


@pytest.fixture(scope="module")
def client(house: DemoHouse, django_db_blocker: DjangoDbBlocker) -> Iterator[Client]:
    """The demo house, poisoned, and somebody with every role who does not count there."""
    with django_db_blocker.unblock(), transaction.atomic():
        reader = factories.make_person("Everyrole", roles=[role for role in Role if role != Role.COUNTER])
        poison()
        # The groups are not the house's own tables, and stay what they are.
        assert Group.objects.filter(name=Role.REGISTRAR).exists()
        signed_in = Client(raise_request_exception=False)
        signed_in.force_login(Person.objects.get(pk=reader.pk).user)  # type: ignore[arg-type]
        yield signed_in
        transaction.set_rollback(True)


def test_every_text_that_people_write_is_poisoned_or_left_out_for_a_reason() -> None:
    """A new column is poisoned unless it is put into ``LEFT_OUT``; one that is gone leaves it."""
    names = {name for _, _, name in text_columns()}
    assert {name for name in LEFT_OUT if name not in names} == set()
    assert len([name for _, column, name in text_columns() if is_poisoned(column, name)]) > 100


@pytest.mark.parametrize(
    ("markup", "found"),
    [
        ('<p style="color: red">', 1),
        ("<style>p { color: red }</style>", 1),
        ("<script>run()</script>", 1),
        ('<a href=" javascript:run()">', 1),
        ('<button onclick="run()">', 1),
        ('<script src="/static/a.js"></script><script type="application/json">{}</script><a href="/on">', 0),
    ],
)
def test_the_walk_sees_what_stands_inline(markup: str, found: int) -> None:
    page = Page()
    page.feed(markup)
    assert len(page.inline) == found


def test_the_evil_string_is_shown_as_text_in_every_page_and_file(client: Client) -> None:
    seen = Seen()
    waiting = ["/", *_plain()]
    opened: set[str] = set()
    while waiting:
        address = waiting.pop(0)
        view = _view(address)
        if (
            not view
            or address in opened
            or seen.views[view] >= EACH_VIEW
            or address.partition("?")[0] in ENDS
        ):
            continue
        opened.add(address)
        seen.views[view] += 1
        waiting += _open(client, address, view, seen)
    assert not seen.wrong, "\n".join(seen.wrong)
    assert len(seen.views) > 70, sorted(seen.views)
    assert {"text/html", "application/pdf", "text/csv"} <= set(seen.kinds), seen.kinds
    assert seen.shown > 50


def _plain() -> list[str]:
    """Addresses without parameters, in the forms that no link asks for."""
    addresses = [f"/{route}" for route, _ in patterns() if not names_in(route) and "<" not in route]
    asked = ("format=csv", "format=xlsx", "format=pdf", "form=csv", "form=xlsx")
    return [*addresses, *(f"{address}?{one}" for address in addresses for one in asked)]


def _view(address: str) -> str:
    try:
        found = resolve(unquote(address.partition("?")[0]))
    except Resolver404:
        return ""
    asked = re.search(r"form(?:at)?=\w+", address)
    return f"{found.view_name} {asked[0] if asked else ''}"


def _open(client: Client, address: str, view: str, seen: Seen) -> list[str]:
    response: Any = client.get(address)
    content = b"".join(response.streaming_content) if response.streaming else response.content
    kind = response.headers.get("Content-Type", "").partition(";")[0]
    seen.kinds[kind] += 1

    def wrong(what: str) -> None:
        seen.wrong.append(f"{address} ({view.strip()}): {what}")

    if response.status_code >= 500:
        wrong(f"answers {response.status_code}: {_why(response)}")
        return []
    if any(name.lower() == "x-evil" for name in response.headers):
        wrong("has a header of the attacker")
    if response.status_code in (301, 302):
        return [_within(address, response["Location"])]
    if kind == "text/html":
        page = Page()
        page.feed(content.decode())
        seen.shown += "id=evil" in "".join(page.text)
        for made in page.made:
            wrong(f"has the element {made}")
        for inline in page.inline:
            wrong(f"has inline {inline[:200]}")
        return [_within(address, link) for link in page.links]
    _look_at_file(kind, content, wrong)
    return []


def _why(response: HttpResponseBase) -> str:
    info = getattr(response, "exc_info", None)
    return f"{info[0].__name__}: {info[1]}"[:300] if info else ""


def _look_at_file(kind: str, content: bytes, wrong: Any) -> None:
    if kind == "text/csv":
        rows = list(csv.reader(StringIO(content.decode("utf-8-sig"))))
        wild = [cell for row in rows for cell in row if re.match(r"[=@\t\r]|[+-](?![\d.,]*$)", cell)]
        if wild:
            wrong(f"has the formula {wild[0][:60]!r}")
    elif "spreadsheetml" in kind:
        for sheet in openpyxl.load_workbook(BytesIO(content)).worksheets:
            wild = [
                str(cell.value)
                for row in sheet.iter_rows()
                for cell in row
                # Our own formulas of proof may name a unit, in a literal with its quotes doubled.
                if cell.data_type == "f" and "evil" in _LITERAL.sub("", str(cell.value))
            ]
            if wild:
                wrong(f"has the formula {wild[0][:60]!r} in {sheet.title}")
    elif kind == "application/pdf":
        for page in PdfReader(BytesIO(content)).pages:
            page.extract_text()
    elif kind == "text/calendar":
        for part in Calendar.from_ical(content).walk():
            if "X-EVIL" in part:
                wrong("has a property of the attacker")
    elif kind == "image/svg+xml":
        made = [one for one in ElementTree.fromstring(content).iter() if one.get("id") == "evil"]
        if made:
            wrong("has an element of the attacker")


def _within(page: str, link: str) -> str:
    try:
        parts = urlsplit(urljoin(f"http://house{page}", link))
    except ValueError:
        return ""
    if parts.netloc != "house" or parts.scheme != "http" or parts.path.startswith("/static/"):
        return ""
    return parts.path + (f"?{parts.query}" if parts.query else "")
