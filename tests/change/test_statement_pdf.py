"""The statement of a closing as pages: the same bytes for ever, every line of the text on them."""

import io
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from census.change.files.statement_pdf import LETTERS, LINES, statement_pdf
from census.rounds.actions.signing import sign
from inventory.book.models import PeriodVersion
from inventory.book.statements import PAGES, PRINTED
from tests import factories
from tests.rounds.house import NOW, WITHOUT, ZONE, TestHouse, make_test_house


@pytest.fixture
def house(db: None) -> TestHouse:
    return make_test_house()


def read(content: bytes) -> list[str]:
    return [page.extract_text() for page in PdfReader(io.BytesIO(content)).pages]


def test_the_pages_of_a_closing_say_what_the_text_says_and_never_change(
    house: TestHouse, client: Client
) -> None:
    version = sign(census=house.compared({}), by=house.curator, now=NOW, zone=ZONE, without_sample=WITHOUT)
    kept = version.statements.get(name=PAGES)
    pages = read(bytes(kept.content))
    printed = bytes(version.statements.get(name=PRINTED).content).decode()
    for line in printed.splitlines():
        assert line.strip() in "\n".join(pages) or len(line) > LETTERS
    foot = f"Test Aquarium; {version}"
    assert all(foot in page for page in pages)
    assert f"page 1 of {len(pages)}" in pages[0]
    assert house.officer.user
    client.force_login(house.officer.user)
    address = reverse("period_paper", args=[house.period.code, 1, PAGES])
    first = client.get(address)
    assert (first["Content-Type"], first.content[:5]) == ("application/pdf", b"%PDF-")
    assert first["Content-Disposition"].endswith('.pdf"')
    # A name is found out and a slip comes in a year later: what was signed is printed as it was.
    taxon = house.lots["goby"].taxon
    taxon.scientific_name = "Gobius niger jozo"
    taxon.save()
    factories.make_event(
        "died", lot=house.lots["goby"], place="K1", happened="2026-09-01", now=NOW + timedelta(days=300)
    )
    assert client.get(address).content == first.content
    assert statement_pdf(printed, title=pages_title(kept.version), foot=foot) == first.content


def pages_title(version: PeriodVersion) -> str:
    """The first line of the text, which is its title."""
    return bytes(version.statements.get(name=PRINTED).content).decode().splitlines()[0]


@settings(deadline=None, max_examples=30)
@given(lines=st.lists(st.text("abcdefgh 0123456789", min_size=1, max_size=200), max_size=150))
def test_the_same_text_is_the_same_file_of_as_many_pages_as_it_needs(lines: list[str]) -> None:
    text = "\n".join(lines)
    made = statement_pdf(text, title="t", foot="f")
    assert made == statement_pdf(text, title="t", foot="f")
    pages = len(PdfReader(io.BytesIO(made)).pages)
    assert pages >= max(1, -(-len(text.splitlines()) // LINES))


def test_letters_that_the_face_has_not_do_no_harm() -> None:
    (page,) = read(statement_pdf("Kittelvøe \N{MINUS SIGN}3 水", title="水", foot="Ä"))
    assert "Kittelvøe -3 ?" in page


def test_a_row_stands_on_one_page_with_its_figures_and_leans_its_name() -> None:
    rows = [f"Gobius niger (unit {n})\n    opening   {n}\n  = closing   {n}" for n in range(100)]
    pages = PdfReader(io.BytesIO(statement_pdf("\n".join(rows), title="T", foot="F"))).pages
    assert len(pages) > 4
    for page in pages:
        faces: dict[str, str] = {}

        def take(text: str, _: object, __: object, face: dict[str, str] | None, ___: float) -> None:
            faces[text.strip()] = str((face or {}).get("/BaseFont", ""))  # noqa: B023 - used at once

        lines = page.extract_text(visitor_text=take).splitlines()
        assert lines[0].startswith("Gobius niger (unit")
        assert "closing" in [line for line in lines if "page" not in line and line != "F"][-1]
        assert faces["Gobius niger"] == "/Courier-Oblique"
