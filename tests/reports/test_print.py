"""What a regulator holds in the hand: each page of a print by itself."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO

import openpyxl
import pytest
from django.test import Client

from census.change.files.layout import LINE_HIGH
from census.change.rules.question import Basis
from census.reports.files.paper import write_pdf
from census.reports.files.workbook import write_workbook
from census.reports.rules.document import Block, Column, Document, Figure, Kind, Line, Name, Part, Table
from census.reports.rules.entries import Entry
from census.reports.rules.file_forms import file_name
from census.reports.rules.said import Saying
from inventory.book.rules.scope import Scope
from inventory.people.models import Person
from tests.change.sample import THIRD_QUARTER, Sample

from .conftest import QUARTER, answered
from .printed import Run, heading_alone, read_pages

pytestmark = pytest.mark.django_db

ISO_DAY = re.compile(r"\b\d{4}-\d{2}-\d{2}\b")


def printed(reader: Client, layout: str) -> list[list[Run]]:
    return read_pages(reader.get(f"/reports/{layout}.pdf", QUARTER).content)


def text_of(page: list[Run]) -> str:
    return " ".join(" ".join(run.text for run in page).split())


def test_each_page_says_which_of_how_many_it_is_and_of_what_as_known_when(
    sample: Sample, reader: Client
) -> None:
    reads = Person.objects.get(user_id=reader.session["_auth_user_id"])
    pages = printed(reader, "taxa")
    assert len(pages) > 1
    for number, page in enumerate(pages, start=1):
        text = text_of(page)
        assert f"page {number} of {len(pages)}" in text
        assert "Test Aquarium; Population change by taxon, 1 July 2026 to 30 September 2026; here: " in text
        assert "as reported (opening: " in text
        assert re.search(rf"; made \d.*\d by {reads.name} ?page {number} of", text)


@pytest.mark.parametrize("layout", ["taxa", "exhibits", "periods", "stock-list"])
def test_nothing_is_smaller_than_seven_points_and_days_stand_in_words(
    sample: Sample, reader: Client, layout: str
) -> None:
    pages = printed(reader, layout)
    small = {(run.text, run.size) for page in pages for run in page if run.size < 6.99}
    assert small == set()
    found = [ISO_DAY.findall(run.text) for page in pages for run in page]
    assert [days for days in found if days] == []


def test_names_of_species_are_in_italics_wherever_they_stand(sample: Sample, reader: Client) -> None:
    """In the tables, in the headings of the annex, and in the sentence on those noted by letter."""
    for layout in ("taxa", "exhibits"):
        runs = [run for page in printed(reader, layout) for run in page]
        for name in ("Gobius niger", "Sycon ciliatum"):
            faces = {run.face for run in runs if name in run.text}
            assert faces, name
            assert all("Oblique" in face for face in faces), name
        bold = [run for run in runs if "Gobius niger" in run.text and "Bold" in run.face]
        assert bold, "no heading of the annex names it"


def test_a_line_of_the_full_form_leads_to_the_annex_too(sample: Sample, reader: Client) -> None:
    text = " ".join(map(text_of, printed(reader, "taxa")))
    _, full = answered("taxa").parts
    for table in full.tables():
        for line in table.lines:
            if line.figures["closing"].number != line.figures["opening"].number:
                assert f"also line {line.number} of full form" in text


@pytest.mark.parametrize("entries", range(1, 50, 7))
def test_no_heading_stands_alone_at_the_foot_of_a_page(sample: Sample, entries: int) -> None:
    """Annexes of many lengths, so that some heading comes to each place of a page."""
    document = answered("stock-list")
    keys = {line.annex for table in document.parts[0].tables() for line in table.lines}
    one = Entry("1", "1 July 2026", "died", "0000001", "A1 to died", "died", -1, "Maren", ())
    out = BytesIO()
    write_pdf(document, out, made="", annex={key: [one] * entries for key in keys})
    pages = read_pages(out)
    assert heading_alone(pages) == []
    # The heading of the annex is followed by events on its own page, not by an empty rest of it.
    first = next(page for page in pages if "Annex: the events behind each line" in text_of(page))
    assert "A1 to died" in text_of(first)


def test_notes_stand_on_a_page_that_says_which_place_they_speak_of(sample: Sample, reader: Client) -> None:
    for page in printed(reader, "exhibits"):
        if "Newly seen:" in text_of(page):
            assert ", unit: animal" in text_of(page)


def test_reports_that_were_asked_otherwise_have_other_names() -> None:
    """Files of one report, as they come to lie beside each other in a folder."""
    document = Document("taxon", "", [], [], [], subject="Clupea harengus")
    known = datetime(2026, 4, 10, 11, 0, tzinfo=UTC)
    questions = [
        THIRD_QUARTER,
        replace(THIRD_QUARTER, scope=Scope.OURS),
        replace(THIRD_QUARTER, basis=Basis.KNOWN, known_at=known),
    ]
    names = [file_name(replace(document, questions=[question]), "pdf") for question in questions]
    assert names == [
        "taxon_Clupea_harengus_2026-07-01_2026-09-30_here.pdf",
        "taxon_Clupea_harengus_2026-07-01_2026-09-30_ours.pdf",
        "taxon_Clupea_harengus_2026-07-01_2026-09-30_here_known_2026-04-10T1100Z.pdf",
    ]


def test_an_interval_stands_in_words_on_paper_and_as_it_was_typed_in_files() -> None:
    paper, files = Saying(UTC, words=True), Saying(UTC, words=False)
    assert paper.happened("2026-08-01/2026-09-15") == "1 August 2026 to 15 September 2026"
    assert paper.happened("2026-08-01T09:05") == "1 August 2026 09:05"
    assert paper.happened("2007-11-13/15") == "13 November 2007 to 15 November 2007"
    assert files.happened("2026-08-01/2026-09-15") == "2026-08-01/2026-09-15"


def test_words_in_a_workbook_have_room_and_break_and_a_limit_is_a_number() -> None:
    words = Column("why", "reason", Kind.TEXT, summed=False)
    limit = Column("limit", "limit", Kind.TEXT, summed=False)
    long = "below the book in March, June and September"
    figures = {"why": Figure(long), "limit": Figure("40")}
    table = Table("animal", [Line(1, Name("Pomatoschistus flavescens"), "", lambda: figures)], {}, "")
    part = Part("p", "P", "", [words, limit], [Block("B", [], [table])])
    document = Document("x", "X", [], [part], [])
    out = BytesIO()
    write_workbook(document, out, made_at=datetime(2026, 10, 6, tzinfo=UTC), made="")
    sheet = openpyxl.load_workbook(out)["P"]
    (name,) = (cell for cell in sheet[5] if cell.value == "Pomatoschistus flavescens")
    (why,) = (cell for cell in sheet[5] if cell.value == long)
    (number,) = (cell for cell in sheet[5] if cell.value == 40)
    assert name.font.italic
    assert sheet.column_dimensions[name.column_letter].width >= len("Pomatoschistus flavescens")
    assert why.alignment.wrap_text
    assert sheet.column_dimensions[why.column_letter].width > 30
    assert number.data_type == "n"
    # A program that does not find the height of a row by itself shows the words all the same.
    assert sheet.row_dimensions[why.row].height >= 2 * LINE_HIGH
    assert why.alignment.indent == 1, "words keep apart from the number before them"
    assert number.alignment.vertical == "top"


@pytest.mark.parametrize("before", range(8, 24, 3))
def test_the_facts_of_a_place_stand_on_the_page_of_its_table(before: int) -> None:
    """Small tables after each other, begun at many heights of a page."""
    column, figure = Column("n", "closing", summed=False), {"n": Figure(1)}

    def block(name: str, lines: int) -> Block:
        rows = [Line(n, Name("Gobius niger"), "", lambda: figure) for n in range(1, lines + 1)]
        table = Table("animal", rows, figure, "Total")
        return Block(name, [("keeper", f"of {name}")], [table], ["Newly seen: none."] * 4)

    blocks = [block("A1", before), *(block(f"B{n}", 1) for n in range(6))]
    out = BytesIO()
    write_pdf(Document("x", "X", [], [Part("p", "P", "", [column], blocks)], []), out, made="", annex={})
    for text in map(text_of, read_pages(out)):
        for one in blocks:
            assert (f"keeper of {one.title}" in text) <= (f"{one.title}, unit: animal" in text)


def test_nobody_signs_a_page_that_has_no_line_of_the_report() -> None:
    """Tables that end at each place of a page, and one that is longer than a page."""
    column, figure = Column("n", "closing", summed=False), {"n": Figure(1)}
    alone = []
    for lines in range(1, 75):
        rows = [Line(n, Name("Gobius niger"), "", lambda: figure) for n in range(1, lines + 1)]
        part = Part("p", "P", "", [column], [Block("A1", [], [Table("animal", rows, figure, "")], [])])
        document = Document("x", "X", [], [part], [], signers=("Registrar", "Curator"))
        out = BytesIO()
        write_pdf(document, out, made="", annex={})
        pages = [text_of(page) for page in read_pages(out)]
        assert sum(page.count("Gobius niger") for page in pages) == lines
        assert "Signatures" in pages[-1]
        if pages[-1].count("Gobius niger") < min(lines, 3):
            alone.append(lines)
    assert alone == []


def test_columns_that_say_nothing_of_a_unit_are_not_printed_for_it() -> None:
    """More columns than stand abreast: what became of pieces is told in another unit."""
    columns = [Column(f"c{n}", f"heading{n}", summed=False) for n in range(20)]

    def table(unit: str, number: int, told: int) -> Table:
        figures = {one.key: Figure(7 if n < told else None) for n, one in enumerate(columns)}
        return Table(unit, [Line(number, None, "a line", lambda: figures)], figures, "All")

    block = Block("P1", [], [table("animal", 1, 20), table("piece", 2, 10)], ["What became of the pieces."])
    out = BytesIO()
    document = Document("x", "X", [], [Part("p", "P", "words", columns, [block])], [])
    write_pdf(document, out, made="", annex={})
    text = " ".join(map(text_of, read_pages(out)))
    assert "P1, unit: animal, columns 1 of 2" in text
    assert "P1, unit: animal, columns 2 of 2" in text
    assert "P1, unit: piece, columns" not in text
    assert text.count("P1, unit: piece") == 1
    assert text.count("heading3") == 2
    assert text.count("heading17") == 1
    assert "What became of the pieces." in text
