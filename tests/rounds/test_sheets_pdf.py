"""The printed count sheet: what is on it, what is not, and that the same list is the same bytes."""

import re
import shutil
import subprocess
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader

from census.rounds.actions.opening import add_line
from census.rounds.actions.recounts import ask_recount
from census.rounds.models import Sheet
from census.rounds.queries.blind import BlindIndividual, BlindLine, BlindSheet, blind_sheet
from census.rounds.rules.words import LineKind, Seen
from census.rounds.writers.pdf_boxes import wrapped
from census.rounds.writers.sheet_pdf import mark_of, write_pdf
from inventory.doors.printed import printable
from tests import factories

from .house import NOW, TestHouse


def _bytes(*sheets: BlindSheet) -> bytes:
    out = BytesIO()
    write_pdf(sheets, out)
    return out.getvalue()


def _pages(*sheets: BlindSheet) -> list[str]:
    return [page.extract_text() for page in PdfReader(BytesIO(_bytes(*sheets))).pages]


def _line(number: int, **more: object) -> BlindLine:
    base = BlindLine(number, "K1", "Gobius niger", "Black goby", "animal", "B", False, (), "", "")
    return replace(base, **more)  # type: ignore[arg-type]


def _sheet(*lines: BlindLine, **more: object) -> BlindSheet:
    base = BlindSheet("CS-26Q3-01", "K1", "Kelp Hall", "1", 1, False, 1, ("Alda",), lines)
    return replace(base, **more)  # type: ignore[arg-type]


ROLL = tuple(BlindIndividual(f"2019-{k:03}", f"Fish {k}", f"notch {k}") for k in range(60))


def test_a_sheet_says_its_number_its_list_and_which_page_of_how_many() -> None:
    pages = _pages(_sheet(*(_line(k) for k in range(1, 41))))
    assert len(pages) > 2
    for number, page in enumerate(pages, start=1):
        assert "CS-26Q3-01" in page
        assert "K1 Kelp Hall" in page
        assert "Alda" in page
        assert "List version 1-" in page
        assert f"page {number} of {len(pages)}" in page
        assert "Blank: not counted. Zero is written." in page


def test_every_line_has_its_number_name_unit_and_class_and_room_for_a_result() -> None:
    (page,) = _pages(_sheet(_line(1), _line(2, unit="egg case", count_class="", name="Raja clavata")))
    for words in ("Gobius niger", "Black goby", "animal", "class B", "Raja clavata", "egg case"):
        assert words in page
    assert page.count("result, write 0 if none") == 2
    assert page.count("tally") == 1 + 2 + 5  # the heading, the lines, and the rows to write in


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (_line(1, count_class="C"), ["pass 1", "pass 5", "lowest", "highest", "method", "three passes"]),
        (_line(1, count_class="D", presence=True), ["S\n", "superabundant", "cover, %", "picture"]),
        (_line(1, sexed=True), ["males", "females", "herm.", "unknown"]),
        (_line(1, joined=True, note="joined: count all parts in one session"), ["in one session"]),
        (_line(1, unit="pair"), ["write the animals, not the pairs"]),
        (_line(1, count_class="A"), ["two counters at the same moment"]),
        (_line(1, marks="red dot"), ["red dot"]),
        (_line(1, place="K1b"), ["at K1b"]),
    ],
    ids=["many", "presence", "sexes", "joined", "pairs", "exact", "marks", "place"],
)
def test_a_line_has_the_boxes_and_hints_of_its_kind(line: BlindLine, words: list[str]) -> None:
    (page,) = _pages(_sheet(line))
    for word in words:
        assert word in page
    (plain,) = _pages(_sheet(_line(1)))
    assert [word for word in words if word not in plain]


def test_two_windows_are_never_a_sum() -> None:
    (page,) = _pages(_sheet(_line(1), windows=2))
    assert "take the higher number, never the sum" in page
    assert "never the sum" not in _pages(_sheet(_line(1)))[0]


def test_known_animals_are_ticked_by_name_and_their_line_is_named_again_on_the_next_page() -> None:
    pages = _pages(_sheet(_line(7, count_class="A", name="Conger conger", individuals=ROLL)))
    text = "\n".join(pages)
    assert len(pages) > 1
    for one in ROLL:
        assert one.accession in text
        assert one.house_name in text
        assert one.marks in text
    for seen in Seen:
        assert len(re.findall(rf"^{seen.value}$", text, re.MULTILINE)) == len(ROLL)
    assert all("continued" in page and "Conger conger" in page for page in pages[1:-1])


def test_only_a_first_count_has_rows_to_write_in() -> None:
    assert "Not on the list" in _pages(_sheet(_line(1)))[-1]
    recount = _pages(_sheet(_line(1), round=2))
    assert "Not on the list\n" not in recount[-1]
    assert "A recount" in recount[0]


def test_a_letter_asks_who_wrote_it() -> None:
    (page,) = _pages(_sheet(_line(1), letter=True))
    assert "letter from" in page
    assert "who wrote the letter" in page


def test_the_same_list_is_the_same_bytes_and_another_list_has_another_mark() -> None:
    one = _sheet(_line(1), _line(2))
    assert _bytes(one) == _bytes(_sheet(_line(1), _line(2)))
    for other in (
        _sheet(_line(1)),
        _sheet(_line(1), _line(2, unit="colony")),
        _sheet(_line(1), _line(2), counters=("Bror",)),
        _sheet(_line(1), _line(2), list_version="2"),
    ):
        assert mark_of(other) != mark_of(one)


@pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="no pdftoppm on this machine")
def test_the_qr_code_on_paper_is_that_of_the_sheets_number(tmp_path: Path) -> None:
    """Dark and light of the print, module by module, against segno's own matrix (ISO/IEC 18004)."""
    import segno

    path = tmp_path / "sheet.pdf"
    path.write_bytes(_bytes(_sheet(_line(1))))
    command = ["pdftoppm", "-r", "288", "-gray", "-singlefile", str(path), str(tmp_path / "page")]
    subprocess.run(command, check=True, timeout=60)
    pixels = (tmp_path / "page.pgm").read_bytes()
    magic, width, height, _, *_ = pixels.split(maxsplit=4)
    assert magic == b"P5"
    columns = int(width)
    grey = pixels[-columns * int(height) :]
    modules = [list(row) for row in segno.make("CS-26Q3-01", error="m", micro=False).matrix_iter(border=0)]
    side, scale = 62.0 / len(modules), 288 / 72
    for down, row in enumerate(modules):
        for across, dark in enumerate(row):
            x = (595.2756 - 36 - 62 + (across + 0.5) * side) * scale
            y = (36 + (down + 0.5) * side) * scale
            assert (grey[int(y) * columns + int(x)] < 128) == bool(dark)


@given(st.text(max_size=60), st.floats(20, 300))
@settings(deadline=None)
def test_any_text_is_printed_in_lines_that_fit(text: str, width: float) -> None:
    from reportlab.pdfbase.pdfmetrics import stringWidth

    lines = wrapped(text, width)
    assert "".join(lines).replace(" ", "") == "".join(printable(text).split())
    assert all(len(line) == 1 or stringWidth(line, "Helvetica", 9) <= width for line in lines)


@given(st.lists(st.sampled_from("ABCD"), max_size=30), st.integers(0, 40))
@settings(deadline=None, max_examples=15)
def test_every_line_and_animal_stands_on_exactly_one_page(classes: list[str], animals: int) -> None:
    lines = [
        _line(n, name=f"Nomen{n}x", count_class=c, presence=c == "D") for n, c in enumerate(classes, start=1)
    ]
    lines.append(_line(len(lines) + 1, name="Conger conger", count_class="A", individuals=ROLL[:animals]))
    text = "\n".join(_pages(_sheet(*lines)))
    assert all(text.count(f"{line.name}\n") == 1 for line in lines[:-1])
    assert all(text.count(one.accession) == 1 for one in ROLL[:animals])


@pytest.mark.django_db
def test_a_line_that_is_added_changes_the_mark_of_the_list(house: TestHouse) -> None:
    census = house.opened_and_issued()
    sheet = census.sheets.get(number=f"{census.code}-01")
    before = mark_of(blind_sheet(sheet))
    taxon = factories.make_taxon("Halichondria panicea", count_class="D")
    add_line(sheet=sheet, kind=LineKind.PRESENCE, taxon=taxon, count_class="D", by=house.registrar, now=NOW)
    assert mark_of(blind_sheet(sheet)) != before


@pytest.mark.django_db
def test_sexes_are_asked_where_some_are_known_or_may_change(house: TestHouse) -> None:
    factories.make_event("received", lot=house.lots["goby"], place="K1", males=2, happened="2026-09-01")
    wrasse = house.lots["wrasse"].taxon
    wrasse.can_change_sex = True
    wrasse.save()
    census = house.opened_and_issued()
    lines = blind_sheet(census.sheets.get(number=f"{census.code}-01")).lines
    asked = {line.name for line in lines if line.sexed}
    assert asked == {"Gobius niger", "Symphodus melops"}


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_the_page_gives_the_print_and_the_workbook(house: TestHouse, client: Client) -> None:
    census = house.opened_and_issued()
    sheet = census.sheets.get(number=f"{census.code}-01")
    client.force_login(house.first.user)  # type: ignore[arg-type]
    page = client.get(reverse("sheet", args=[sheet.number])).content.decode()
    for name in ("sheet_pdf", "sheet_workbook"):
        assert reverse(name, args=[sheet.number]) in page
    printed = client.get(reverse("sheet_pdf", args=[sheet.number]))
    assert printed["Content-Type"] == "application/pdf"
    assert printed.content == _bytes(blind_sheet(sheet))
    assert client.get(reverse("sheet_pdf", args=[sheet.number])).content == printed.content
    assert client.get(reverse("sheet_workbook", args=[sheet.number])).content.startswith(b"PK")
    assert client.get(reverse("sheet_pdf", args=["CS-26Q3-99"])).status_code == 404


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_who_counts_again_prints_only_the_lines_asked_for(house: TestHouse, client: Client) -> None:
    census = house.compared({"shoal": 400})
    line = house.line(census, "shoal")
    ask_recount(lines=[line], of=house.second, by=house.registrar, now=NOW)
    client.force_login(house.second.user)  # type: ignore[arg-type]
    printed = client.get(reverse("sheet_pdf", args=[line.sheet.number])).content
    text = "\n".join(page.extract_text() for page in PdfReader(BytesIO(printed)).pages)
    assert "Clupea harengus" in text
    assert "Gobius niger" not in text
    assert "count 2" in text


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_who_decides_prints_all_sheets_at_once_and_who_counts_does_not(
    house: TestHouse, client: Client
) -> None:
    census = house.opened_and_issued()
    address = reverse("census_pdf", args=[census.code])
    client.force_login(house.registrar.user)  # type: ignore[arg-type]
    reader = PdfReader(BytesIO(client.get(address).content))
    assert [entry.title.split()[0] for entry in reader.outline] == list(  # type: ignore[union-attr]
        census.sheets.order_by("number").values_list("number", flat=True)
    )
    client.force_login(house.first.user)  # type: ignore[arg-type]
    assert client.get(address).status_code == 403


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("out", "more", "written"),
    [
        ("sheets", ["--format=pdf"], "sheets/CS-26Q3-01.pdf"),
        ("all.pdf", [], "all.pdf"),
        ("sheets", [], "sheets/CS-26Q3-01.xlsx"),
        ("all.xlsx", [], "all.xlsx"),
    ],
)
def test_the_command_writes_either_form(
    house: TestHouse, tmp_path: Path, out: str, more: list[str], written: str
) -> None:
    house.opened_and_issued()
    call_command("census", "sheets", "CS-26Q3", f"--out={tmp_path / out}", *more)
    head = (tmp_path / written).read_bytes()[:4]
    assert head == (b"%PDF" if written.endswith("pdf") else b"PK\x03\x04")
    assert Sheet.objects.count() == len(list((tmp_path / "sheets").glob("*"))) or "." in out


def test_the_columns_are_named_above_lines_only_and_what_is_not_on_the_list_is_named_again() -> None:
    """Headings of a list above rows to write in would ask for a line."""
    seen = 0
    for n in range(1, 40):
        pages = _pages(_sheet(*(_line(k) for k in range(1, n + 1))))
        for page in pages[1:]:
            assert ("unit, class" in page) == ("Gobius niger" in page)
            written = page.count("+ name, as far as you know it")
            assert ("Not on the list" in page) == bool(written)
            seen += bool(written) and "Gobius niger" not in page
    assert seen


@pytest.mark.parametrize("round_", [1, 2])
@pytest.mark.parametrize("count_class", ["B", "C"])
def test_nobody_signs_a_page_that_says_nothing_else(round_: int, count_class: str) -> None:
    for lines in range(1, 45):
        *_, last = _pages(
            _sheet(*(_line(k, count_class=count_class) for k in range(1, lines + 1)), round=round_)
        )
        assert "sheet taken back by" in last
        assert "+ name" in last or "Gobius niger" in last, f"{lines} lines"


def test_rows_to_write_in_are_five_or_so_many_fewer_as_save_a_page() -> None:
    rows = {
        (len(pages), sum(page.count("+ name") for page in pages))
        for lines in range(1, 30)
        if (pages := _pages(_sheet(*(_line(k) for k in range(1, lines + 1)))))
    }
    assert {n for _, n in rows} == {3, 4, 5}
    # Where three rows stand, five would not: the next longer sheet has a page more and all of them again.
    assert {(1, 5), (2, 5)} <= rows
