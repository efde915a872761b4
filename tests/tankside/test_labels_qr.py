"""The codes on labels say what they should: read back from the PDF and the SVG by a reader of our own.

The reader is held by the standard: ISO/IEC 18004, Annex I, encodes 01234567 as version 1-M and prints
every code word (the words below are from memory of it).
"""

import io
import re
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from inventory.tankside.files.label_sheets import NotPrintable, pdf_of, svg_of, svgs_of, zip_of
from inventory.tankside.rules.label_formats import FORMATS, LabelFormat
from inventory.tankside.rules.labels import POINT, Label, NoRoom
from inventory.tankside.rules.qr import TooSmall, address_of_lot, address_of_place, symbol

from .qr_reader import Unreadable, data_words, read, syndromes

SITE = "http://localhost:8000"
AT = datetime(2026, 10, 6, 9, tzinfo=ZoneInfo("Atlantic/Faroe"))
HALL = Label(address_of_place(SITE, "E02"), "E02", "Kelp Hall")
WEEVER = Label(
    address_of_lot(SITE, "26000026"), "26000026", "lesser weever", ("Echiichthys vipera",),
    "Caution: venomous spines",
)  # fmt: skip
BY_FORMAT = pytest.mark.parametrize("form", FORMATS, ids=lambda form: form.code)


def dark(form_height: float, operations: str) -> list[tuple[float, float, float, float]]:
    """(x, y from above, width, height) in mm of every rectangle that a page's content fills."""
    found = []
    for x, y, width, height in re.findall(r"([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+) re f", operations):
        in_mm = [float(number) * POINT for number in (x, y, width, height)]
        found.append((in_mm[0], form_height - in_mm[1] - in_mm[3], in_mm[2], in_mm[3]))
    return found


def content(pdf: bytes, page: int = 0) -> str:
    read_back = PdfReader(io.BytesIO(pdf)).pages[page].get_contents()
    assert read_back is not None
    return re.sub(r"\s+", " ", read_back.get_data().decode("latin-1"))


def modules(bars: list[tuple[float, float, float, float]]) -> tuple[list[list[bool]], float]:
    """The matrix that the bars of one code print, and the side of a module; bars must lie on its grid."""
    module = bars[0][3]
    left, top = min(bar[0] for bar in bars), min(bar[1] for bar in bars)
    right = max(bar[0] + bar[2] for bar in bars)
    size = round((right - left) / module)
    matrix = [[False] * size for _ in range(size)]
    for x, y, width, height in bars:
        column, row, n = (x - left) / module, (y - top) / module, width / module
        assert height == pytest.approx(module, abs=1e-3)
        for at in (column, row, n):
            assert at == pytest.approx(round(at), abs=0.02)
        for step in range(round(n)):
            matrix[round(row)][round(column) + step] = True
    return matrix, module


def test_the_standards_worked_example_is_read_word_for_word() -> None:
    made = segno.make_qr("01234567", version=1, error="m", boost_error=False)
    matrix = [[bool(module) for module in row] for row in made.matrix]
    version, level, words = data_words(matrix)
    assert (version, level) == (1, "M")
    assert bytes(words).hex(" ") == "10 20 0c 56 61 80 ec 11 ec 11 ec 11 ec 11 ec 11"
    assert read(matrix) == "01234567"


def test_the_standards_check_words_prove_its_data_words() -> None:
    data = bytes.fromhex("10200c566180ec11ec11ec11ec11ec11")
    check = bytes.fromhex("a524d4c1ed36c7872c55")
    assert syndromes([*data, *check], len(check)) == [0] * 10
    assert any(syndromes([data[0] ^ 1, *data[1:], *check], len(check)))


def test_the_reader_takes_nothing_for_a_code_that_is_none() -> None:
    made = segno.make_qr("01234567", version=1, error="m", boost_error=False)
    matrix = [[bool(module) for module in row] for row in made.matrix]
    for row, column in ((0, 0), (8, 2), (12, 12)):
        wrong = [list(line) for line in matrix]
        wrong[row][column] = not wrong[row][column]
        with pytest.raises(Unreadable):
            read(wrong)


@given(st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=12))
def test_any_code_of_a_place_comes_back_from_its_symbol(code: str) -> None:
    """Also with spaces, slashes and letters of any script: the address stays plain ASCII."""
    address = address_of_place("https://t.example", code)
    assert address.isascii()
    try:
        made = symbol(address, side=60)
    except TooSmall:
        return
    if made.size <= 41:
        assert read(made.rows) == address


@BY_FORMAT
@pytest.mark.parametrize("label", [HALL, WEEVER], ids=["place", "lot"])
def test_the_code_in_the_pdf_opens_that_tank_or_lot(form: LabelFormat, label: Label) -> None:
    bars = dark(form.page_height, content(pdf_of([label], form, made_at=AT)))
    matrix, module = modules(bars)
    assert read(matrix) == label.address
    assert module >= 0.4


@BY_FORMAT
def test_four_modules_all_round_the_code_stay_white_and_inside_the_label(form: LabelFormat) -> None:
    pdf = pdf_of([WEEVER], form, made_at=AT)
    bars = dark(form.page_height, content(pdf))
    _, module = modules(bars)
    left, top = form.corner(0)
    quiet = 4 * module - 1e-3
    assert min(bar[0] for bar in bars) - left >= quiet
    assert min(bar[1] for bar in bars) - top >= quiet
    assert top + form.height - max(bar[1] + bar[3] for bar in bars) >= quiet
    first_letter = min(x for x, _ in letters(pdf, form))
    assert first_letter - max(bar[0] + bar[2] for bar in bars) >= quiet


@BY_FORMAT
def test_every_label_of_a_full_sheet_lies_on_its_own_label_and_on_the_page(form: LabelFormat) -> None:
    labels = [
        Label(address_of_place(SITE, f"T{n:02}"), f"T{n:02}", f"Tank {n}") for n in range(form.on_a_sheet)
    ]
    pdf = pdf_of(labels, form, made_at=AT)
    assert len(PdfReader(io.BytesIO(pdf)).pages) == 1
    bars = dark(form.page_height, content(pdf))
    for position, label in enumerate(labels):
        left, top = form.corner(position)
        assert left >= 0
        assert top >= 0
        assert left + form.width <= form.page_width + 1e-6
        assert top + form.height <= form.page_height + 1e-6
        mine = [b for b in bars if left <= b[0] < left + form.width and top <= b[1] < top + form.height]
        assert read(modules(mine)[0]) == label.address


def letters(pdf: bytes, form: LabelFormat) -> list[tuple[float, float]]:
    """Where each line of letters begins, in mm from the page's upper left."""
    found = re.findall(r"1 0 0 1 ([\d.]+) ([\d.]+) Tm", content(pdf))
    return [(float(x) * POINT, form.page_height - float(y) * POINT) for x, y in found]


@BY_FORMAT
def test_the_words_of_a_label_stand_beside_its_code(form: LabelFormat) -> None:
    pdf = pdf_of([WEEVER], form, made_at=AT)
    text = " ".join(PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split())
    for words in ("26000026", "lesser weever", "Echiichthys vipera", "Caution: venomous spines"):
        assert words in text
    left, top = form.corner(0)
    for x, y in letters(pdf, form):
        assert left < x < left + form.width
        assert top < y < top + form.height


def test_a_part_used_sheet_begins_at_its_first_free_label() -> None:
    form = FORMATS[2]
    pdf = pdf_of([HALL] * 21, form, start=20, made_at=AT)
    pages = PdfReader(io.BytesIO(pdf)).pages
    assert len(pages) == 2
    first = dark(form.page_height, content(pdf, 0))
    left, top = form.corner(19)
    assert min(bar[1] for bar in first) > top
    assert min(bar[0] for bar in first) > left
    with pytest.raises(NotPrintable, match="begin at 1 to 21"):
        pdf_of([HALL], form, start=22, made_at=AT)


@BY_FORMAT
def test_the_picture_holds_the_same_code(form: LabelFormat) -> None:
    picture = svg_of(WEEVER, form)
    assert f'width="{form.width}mm"' in picture
    assert "Caution: venomous spines" in re.sub(r"</text><text[^>]*>", " ", picture)
    bars = [
        tuple(float(number) for number in bar)
        for bar in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+z", picture)
    ]
    assert read(modules(bars)[0]) == WEEVER.address  # type: ignore[arg-type]


def test_letters_that_would_break_the_picture_are_written_safely() -> None:
    picture = svg_of(Label(f"{SITE}/tank/#A%26B", "A&B", "<Tank>"), FORMATS[1])
    assert "&amp;" in picture
    assert "<Tank>" not in picture


def test_pictures_have_names_of_their_own_that_leave_the_folder_alone() -> None:
    labels = [Label(f"{SITE}/tank/#{n}", code, "x") for n, code in enumerate(("../E/1", "..-E-1", "E1"))]
    assert list(svgs_of(labels, FORMATS[0])) == ["---E-1.svg", "---E-1-2.svg", "E1.svg"]
    assert zip_of({"a.svg": "x"}) == zip_of({"a.svg": "x"})


def test_the_same_labels_are_the_same_bytes() -> None:
    assert pdf_of([HALL, WEEVER], FORMATS[0], made_at=AT) == pdf_of([HALL, WEEVER], FORMATS[0], made_at=AT)


def test_an_address_too_long_for_the_label_is_refused_with_what_to_do() -> None:
    long = Label("https://" + "a-very-long-name." * 22 + "example/tank/#E02", "E02", "Kelp Hall")
    with pytest.raises(TooSmall, match="take larger labels, or a shorter address"):
        pdf_of([long], FORMATS[-1], made_at=AT)


def test_a_caution_is_never_cut() -> None:
    """It is written smaller, and refused where it does not fit."""
    endless = Label(HALL.address, "E02", "Kelp Hall", caution="Caution: " + "stings badly; " * 60)
    with pytest.raises(NoRoom, match="take larger labels"):
        pdf_of([endless], FORMATS[-1], made_at=AT)


def test_letters_that_the_pdf_has_not_are_told() -> None:
    with pytest.raises(NotPrintable, match=r"has no Ł .*take the labels as SVG"):
        pdf_of([Label(HALL.address, "E02", "Łódź")], FORMATS[0], made_at=AT)
    with pytest.raises(NotPrintable, match="choose a place or a lot"):
        pdf_of([], FORMATS[0], made_at=AT)
