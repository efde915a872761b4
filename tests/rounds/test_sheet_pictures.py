"""Small pictures on the printed count sheet: look-alikes are told apart, and no row is broken."""

from io import BytesIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader
from pytest_django import DjangoAssertNumQueries

from census.rounds.queries.blind import BlindLine, BlindSheet, blind_sheet
from census.rounds.queries.sheet_pictures import small_pictures
from census.rounds.writers.pdf_boxes import PAD, line_blocks
from census.rounds.writers.sheet_pdf import write_pdf
from census.rounds.writers.sheet_pictures import HIGH, WIDE, small_picture
from tests import factories

from .house import TestHouse

NAMES = ("Gobius niger", "Pomatoschistus minutus", "Thorogobius ephippiatus", "dogfish")


def _sheet(*names: str) -> BlindSheet:
    lines = [
        BlindLine(number, "K1", name, "a goby", "animal", "B", False, (), "", "")
        for number, name in enumerate(names, start=1)
    ]
    return BlindSheet("CS-26Q3-01", "K1", "Kelp Hall", "1", 1, False, 1, ("Alda",), tuple(lines))


def _printed(sheet: BlindSheet, pictures: dict[str, bytes]) -> PdfReader:
    out = BytesIO()
    write_pdf([sheet], out, pictures)
    return PdfReader(out)


def test_a_line_whose_animal_has_a_picture_shows_it_in_grey_and_the_others_show_none() -> None:
    pictures = {name: factories.photograph("teal") for name in NAMES[:2]}
    (page,) = _printed(_sheet(*NAMES), pictures).pages
    assert len(page.images) in (1, 2), "the same file may be kept once"
    for shown in page.images:
        assert Image.open(BytesIO(shown.data)).mode == "L"
    assert not _printed(_sheet(*NAMES), {}).pages[0].images
    assert not _printed(_sheet(*NAMES), {"Labrus mixtus": pictures[NAMES[0]]}).pages[0].images


def test_every_line_keeps_its_words_and_its_box_beside_a_picture() -> None:
    names = [f"Pomatoschistus longissimusnominatus{letter}" for letter in "abcdefghijklmnopqrstuvwxyz"]
    pictures = {name: factories.photograph("teal") for name in names}
    text = "\n".join(page.extract_text() for page in _printed(_sheet(*names), pictures).pages)
    assert text.count("result, write 0 if none") == len(names)
    assert text.replace("\n", "").count("longissimusnominatus") == len(names)


@pytest.mark.parametrize("size", [(400, 300), (300, 900), (2000, 100), (1, 1)])
def test_a_picture_stays_within_its_row(size: tuple[int, int]) -> None:
    picture = small_picture(factories.photograph("teal", width=size[0], height=size[1]))
    assert picture is not None
    assert picture.width <= WIDE + 0.01
    assert picture.height <= HIGH + 0.01
    for line in _sheet("Gobius niger").lines:
        (block,) = line_blocks(line, place="", picture=picture)
        assert block.height >= picture.height + 2 * PAD


def test_a_file_that_is_no_picture_leaves_the_sheet_as_it_is() -> None:
    assert small_picture(b"no picture") is None
    assert small_picture(None) is None
    (page,) = _printed(_sheet("Gobius niger"), {"Gobius niger": b"no picture"}).pages
    assert "Gobius niger" in page.extract_text()


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_the_print_of_the_page_and_of_the_command_has_the_newest_picture_of_a_taxon(
    house: TestHouse, client: Client, django_assert_num_queries: DjangoAssertNumQueries, tmp_path: Path
) -> None:
    census = house.opened_and_issued()
    sheet = census.sheets.get(number=f"{census.code}-01")
    client.force_login(house.first.user)  # type: ignore[arg-type]
    address = reverse("sheet_pdf", args=[sheet.number])
    assert not any(page.images for page in PdfReader(BytesIO(client.get(address).content)).pages)
    factories.make_picture(house.lots["goby"].taxon, by=house.curator)
    printed = client.get(address).content
    assert sum(len(page.images) for page in PdfReader(BytesIO(printed)).pages) == 1
    factories.make_picture(house.lots["shoal"].taxon, by=house.curator, colour="red")
    blind = blind_sheet(sheet)
    with django_assert_num_queries(1):
        assert set(small_pictures([blind, blind])) == {"Gobius niger", "Clupea harengus"}
    out = tmp_path / "sheet.pdf"
    call_command("census", "sheets", sheet.number, f"--out={out}")
    assert out.read_bytes() == client.get(address).content
