"""The charts on paper are those of the page: every mark of the one stands in the other, at its place."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from io import BytesIO
from typing import Any
from xml.etree import ElementTree

import pytest
from django.test import Client
from django.utils.timezone import get_current_timezone
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from reportlab.graphics.shapes import Circle, Line, Path, Rect, String

from census.change.rules.columns import SIGNS
from census.population.writers import charts, more_charts
from census.reports.files.charts import BARS_ON_PAPER, charts_of, charts_of_block
from census.reports.files.drawn import drawn
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.document import Block
from census.reports.rules.file_forms import file_name
from census.reports.rules.permit_bars import Bar, Bars
from census.reports.rules.said import Saying
from inventory.book.queries.documents import path_of
from inventory.doors.svg import Drawing, Scale
from inventory.people.rules.roles import Role
from tests.change.sample import THIRD_QUARTER, Sample
from tests.factories import make_person, make_picture
from tests.permits.house import make_permit_house

from .conftest import QUARTER, answered

SVG = "{http://www.w3.org/2000/svg}"
SHAPES: dict[str, Any] = {"line": Line, "rect": Rect, "circle": Circle, "path": Path, "text": String}
numbers = st.integers(-60, 400)
DAYS = [date(2026, month, 1) for month in range(1, 10)]


def bars_of(ns: list[int]) -> list[charts.Bar]:
    return [charts.Bar(f"kind {n}", value, n % 3 == 2) for n, value in enumerate(ns)]


drawings = st.one_of(
    st.builds(
        lambda opening, ns: charts.waterfall("w", "a & b", opening, bars_of(ns), opening + sum(ns)),
        numbers,
        st.lists(numbers, max_size=6),
    ),
    st.builds(
        lambda ns: charts.flows("f", "flows", "", [(f"Q{n}", bars_of(of)) for n, of in enumerate(ns)]),
        st.lists(st.lists(numbers, min_size=1, max_size=6), min_size=1, max_size=8),
    ),
    st.builds(
        lambda ns: more_charts.pairs("p", "pairs", "", [(f"tank <{n}>", *of) for n, of in enumerate(ns)]),
        st.lists(st.tuples(numbers, numbers), min_size=1, max_size=5),
    ),
    st.builds(
        lambda ns: charts.trend(
            ("trend", ""),
            [*zip(DAYS, ns, strict=False)],
            [charts.Counted(DAYS[3], 9, 4, 15, least=True, part=True, breaks=True, told="")],
            (DAYS[0], DAYS[-1]),
            [(DAYS[5], "restated")],
        ),
        st.lists(numbers, min_size=1, max_size=9),
    ),
)  # fmt: skip


def marks(svg: str) -> Iterator[ElementTree.Element]:
    for mark in ElementTree.fromstring(svg):
        if mark.tag.removeprefix(SVG) in SHAPES:
            yield mark


@settings(max_examples=40)
@given(svg=drawings)
def test_each_mark_of_a_chart_is_drawn_with_its_own_numbers(svg: str) -> None:
    root = ElementTree.fromstring(svg)
    high = float(root.attrib["viewBox"].split()[3])
    shapes: list[Any] = drawn(svg, 170).contents
    for mark, shape in zip(marks(svg), shapes, strict=True):
        name = mark.tag.removeprefix(SVG)
        assert type(shape) is SHAPES[name]
        if name == "line":
            assert [shape.x1, high - shape.y1] == pytest.approx([float(mark.attrib[n]) for n in ("x1", "y1")])
            assert [shape.x2, high - shape.y2] == pytest.approx([float(mark.attrib[n]) for n in ("x2", "y2")])
        if name == "rect":
            place = [shape.x, high - shape.y - shape.height, shape.width, shape.height]
            assert place == pytest.approx([float(mark.attrib[n]) for n in ("x", "y", "width", "height")])
        if name == "circle":
            assert [shape.cx, high - shape.cy, shape.r] == pytest.approx(
                [float(mark.attrib[n]) for n in ("cx", "cy", "r")]
            )
        if name == "path":
            way = mark.attrib["d"].strip("MZ").replace("L", " ").split()
            turned = [high - n if at % 2 else n for at, n in enumerate(shape.points)]
            assert turned == pytest.approx([float(n) for n in way])
        if name == "text":
            assert shape.text == (mark.text or "").replace("\N{MINUS SIGN}", "-")
            assert [shape.x, high - shape.y] == pytest.approx([float(mark.attrib[n]) for n in "xy"])


def test_what_is_faint_on_the_page_is_grey_on_paper_and_a_mark_without_filling_stays_hollow() -> None:
    chart = Drawing("k", "title", "words")
    chart.line((0, 0), (5, 5), faint=True, dash="2 4")
    chart.mark("circle", (3, 3), filled=False)
    chart.bar(0, 0, 10, 10)
    shapes: list[Any] = drawn(chart.svg, 340).contents
    line, circle, bar = shapes
    assert (line.strokeColor.red, line.strokeDashArray) == (0.8, [2.0, 4.0])
    assert circle.fillColor is None
    assert circle.strokeColor.red == 0
    assert bar.fillColor.red == bar.fillColor.green == pytest.approx(0.5, abs=0.06)
    assert bar.strokeColor is None


@pytest.mark.parametrize("mark", ["ellipse", "path"])
def test_a_mark_that_the_pen_has_not_learned_is_refused_and_not_left_out(mark: str) -> None:
    chart = Drawing("k", "title", "words")
    chart.add(mark, d="M0 0C1 1 2 2 3 3")
    with pytest.raises(ValueError, match="cannot be drawn on paper"):
        drawn(chart.svg, 340)


@pytest.mark.parametrize("lines", [1, BARS_ON_PAPER, BARS_ON_PAPER + 1, 3 * BARS_ON_PAPER])
def test_bars_of_a_long_permit_are_several_drawings_none_higher_than_a_third_of_a_page(lines: int) -> None:
    bars = [Bar(f"line {n}", "9", 9, n, n, 0, 0) for n in range(lines)]
    block = Block("P", [], [], bars=Bars("p", "P against its limits", bars))
    (whole,) = charts_of_block(block)
    pieces = charts_of_block(block, on_paper=True)
    words = [mark.text for mark in marks(whole.svg) if (mark.text or "").startswith("line ")]
    assert [
        mark.text for one in pieces for mark in marks(one.svg) if (mark.text or "").startswith("line ")
    ] == words
    assert len(words) == lines
    assert all(drawn(one.svg, 252).height < 260 for one in pieces)
    # One, or rows of three: fewer beside each other would be higher and leave the page beside them empty.
    assert len(pieces) == 1 or len(pieces) % 3 == 0
    assert [one.words for one in pieces] == [whole.words, *([""] * (len(pieces) - 1))]


@pytest.mark.django_db
def test_the_print_of_permits_has_the_bars_above_their_table(reader: Client) -> None:
    make_permit_house()
    content = reader.get("/reports/permits.pdf", QUARTER).content
    text = " ".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)
    assert text.index("each bar against its own limit") < text.index("accepted name")
    assert "let go" in text


@pytest.mark.django_db
def test_the_print_of_a_taxon_has_its_picture_and_who_took_it(sample: Sample, reader: Client) -> None:
    asked = {**QUARTER, "subject": "Gobius niger"}

    def printed() -> tuple[int, str]:
        pages = PdfReader(BytesIO(reader.get("/reports/taxon.pdf", asked).content)).pages
        return len(pages[0].images), pages[0].extract_text().replace("\n", " ")

    assert printed()[0] == 0
    picture = make_picture(sample.taxa["goby"], by=make_person(roles=[Role.CURATOR]))
    images, text = printed()
    assert images == 1
    assert "teal, from the side. Picture: Sunniva" in text
    assert "Who to ask:" in text
    assert picture.document is not None
    path_of(picture.document.sha256).unlink()
    images, text = printed()
    assert images == 0
    assert "Who to ask:" in text


def chart_of(layout: str) -> ElementTree.Element:
    (chart,) = charts_of(answered(layout))
    return ElementTree.fromstring(chart.svg)


def steps_of(words: str) -> dict[str, int]:
    """``Opening 12. born +3, found +1. Closing 16.`` as numbers by name."""
    opening, middle, closing = words.removesuffix(".").split(". ")
    told = [opening, *(middle.split(", ") if middle != "Nothing happened" else []), closing]
    pairs = (one.replace("\N{MINUS SIGN}", "-").replace(",", "").rpartition(" ") for one in told)
    return {name: int(n) for name, _, n in pairs}


@pytest.mark.django_db
def test_the_waterfall_of_the_taxa_leads_from_the_opening_to_the_closing(sample: Sample) -> None:
    total = next(one for one in answered("taxa").part("full").tables() if one.unit == "animal").total
    desc = chart_of("taxa").find(f"{SVG}desc")
    assert desc is not None
    steps = steps_of(desc.text or "")
    opening, closing = steps.pop("Opening"), steps.pop("Closing")
    assert (opening, closing) == (total["opening"].number, total["closing"].number)
    assert opening + sum(steps.values()) == closing
    ends = ("opening", "closing")
    flowed = {
        name: n for name, sign in SIGNS.items() if name not in ends and (n := sign * total[name].number)
    }
    assert sorted(steps.values()) == sorted(flowed.values())
    assert steps["died"] == -total["died"].number < 0


@pytest.mark.django_db
def test_the_flows_of_a_quarter_are_drawn_as_long_as_its_closing_differs_from_its_opening(
    sample: Sample,
) -> None:
    document = answered("periods")
    table = next(one for one in document.part("flows").tables() if one.unit == "animal")
    (quarter,) = [one.key for one in document.part("flows").columns]
    figures = {line.label: line.figures[quarter].number for line in table.lines}
    late = next(n for label, n in figures.items() if label.startswith("late"))
    bars = [
        mark
        for mark in chart_of("periods").iter(f"{SVG}rect")
        if float(mark.attrib["height"]) != 10 and float(mark.attrib["height"]) > 0
    ]
    zero = next(
        float(mark.attrib["y1"])
        for mark in reversed([*chart_of("periods").iter(f"{SVG}line")])
        if (mark.attrib["x1"], mark.attrib["x2"]) == ("40", "334") and mark.attrib["y1"] == mark.attrib["y2"]
    )
    up = sum(float(bar.attrib["height"]) for bar in bars if float(bar.attrib["y"]) < zero - 0.01)
    down = sum(float(bar.attrib["height"]) for bar in bars if float(bar.attrib["y"]) >= zero - 0.01)
    gains = sum(
        figures[label]
        for label in ("collected", "bought, exchanged or given", "loan in", "back from loan", "found")
    ) + sum(figures[label] for label in ("born or hatched", "divided", "settled"))
    net = table.total[quarter].number - figures["opening"] - late
    assert up / down == pytest.approx(gains / (gains - net), rel=0.02)


@pytest.mark.django_db
def test_the_page_and_the_print_of_a_taxon_draw_what_its_quarters_closed_with(
    sample: Sample, reader: Client
) -> None:
    asked = {**QUARTER, "subject": "Gobius niger"}
    page = reader.get("/reports/taxon", asked).content.decode()
    svg = page[page.index("<svg") : page.index("</svg>") + 6]
    (way,) = [mark.attrib["d"] for mark in marks(svg) if mark.tag == f"{SVG}path"]
    document = LAYOUTS["taxon"].answer(THIRD_QUARTER, Saying(get_current_timezone()), "Gobius niger")
    table = next(one for one in document.part("course").tables() if one.unit == "animal")
    closings = [line.figures["closing"].number for line in table.lines]
    heights = [float(point.split()[1]) for point in way.removeprefix("M").split("L")][3:-1:2]
    # The book begins three quarters ago: five of the two years are not told.
    assert len(heights) == len(closings) == 3
    least, most = min(closings), max(closings)
    low, high = heights[closings.index(least)], heights[closings.index(most)]
    for height, n in zip(heights, closings, strict=True):
        assert low - height == pytest.approx((low - high) * (n - least) / (most - least), abs=0.11)
    pages = PdfReader(BytesIO(reader.get("/reports/taxon.pdf", asked).content)).pages
    assert "In the book, quarter by quarter" in pages[0].extract_text()


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("layout", "title"), [("taxa", "What made the change"), ("periods", "Flows by quarter")]
)
def test_the_chart_stands_on_the_page_and_in_print(
    sample: Sample, reader: Client, layout: str, title: str
) -> None:
    page = reader.get(f"/reports/{layout}", QUARTER).content.decode()
    assert page.index(f"<h2>{title}</h2>") < page.index("<svg") < page.index("<table")
    pages = PdfReader(BytesIO(reader.get(f"/reports/{layout}.pdf", QUARTER).content)).pages
    text = pages[0].extract_text()
    assert title in text
    assert "striped" in text.lower()


@pytest.mark.django_db
def test_a_house_without_animals_has_no_chart(reader: Client) -> None:
    assert charts_of(answered("taxa")) == []
    assert charts_of(answered("periods")) == []


@pytest.mark.parametrize(
    ("first", "last", "told"),
    [
        (date(2026, 4, 1), date(2026, 10, 6), ["Apr", "2026", "May", "Jun", "Jul", "Aug", "Sep", "Oct"]),
        (date(2024, 10, 1), date(2026, 9, 30), ["Jan", "2025", "Jul", "Jan", "2026", "Jul"]),
    ],
)
def test_an_axis_of_days_has_months_in_words_and_each_year_once(
    first: date, last: date, told: list[str]
) -> None:
    chart = Drawing("k", "title", "words")
    across = Scale(first.toordinal(), last.toordinal() + 1, charts.LEFT, charts.RIGHT - 6)
    charts.dated(chart, across, Scale(0, 1, charts.FOOT, charts.TOP), (first, last), "animals")
    below = [
        one for one in ElementTree.fromstring(chart.svg).iter(f"{SVG}text") if float(one.get("y", 0)) > 190
    ]
    assert [one.text for one in below] == told
    at_the_edge = [one for one in below if float(one.get("x", 0)) == charts.LEFT]
    assert {one.get("text-anchor") for one in at_the_edge} <= {"start"}


def test_what_is_counted_has_no_tick_between_two_animals() -> None:
    assert Scale(0, 1.08, 180, 26).ticks()[1] == 0.2
    assert Scale(0, 1.08, 180, 26, whole=True).ticks() == [0, 1]
    axis = charts.trend(("t", ""), [(DAYS[0], 1)], [], (DAYS[0], DAYS[-1]))
    assert "0.2" not in [one.text for one in ElementTree.fromstring(axis).iter(f"{SVG}text")]


def test_the_file_of_a_taxon_is_named_by_the_days_of_its_title(sample: Sample) -> None:
    """The book of the sample begins within the two years."""
    saying = Saying(get_current_timezone())
    own = LAYOUTS["taxon"].answer(THIRD_QUARTER, saying, "Gobius niger")
    assert own.title.endswith("1 July 2026 to 30 September 2026")
    assert file_name(own, "pdf") == "taxon_Gobius_niger_2026-07-01_2026-09-30_here.pdf"
    two_years = replace(THIRD_QUARTER, first_day=date(2024, 10, 1))
    document = LAYOUTS["taxon"].answer(two_years, saying, "Gobius niger")
    assert document.title.endswith("1 October 2024 to 30 September 2026")
    assert file_name(document, "pdf") == "taxon_Gobius_niger_2024-10-01_2026-09-30_here.pdf"


def test_no_line_of_a_scale_goes_through_a_name() -> None:
    """A row's name stands above its marks; the lines of the scale are drawn beside the marks alone."""
    rows = [("Homarus gammarus", 3, 60), ("Aurelia aurita", 40, -6)]
    drawn = [
        more_charts.pairs("p", "", "", rows),
        more_charts.ranges("r", "", "", [("Gobius niger, E01", 0.2, 0.1, 14.0)], "deaths"),
    ]
    for svg in drawn:
        names = [
            float(one.attrib["y"])
            for one in ElementTree.fromstring(svg).iter(f"{SVG}text")
            if one.attrib["x"] == "2"
        ][1:]
        faint = [
            one.attrib
            for one in ElementTree.fromstring(svg).iter(f"{SVG}line")
            if "stroke-opacity" in one.attrib
        ]
        assert names
        assert faint
        # Letters reach from the line on which they stand some 9 units up and 3 down.
        assert not any(
            float(line["y1"]) < y + 3 and float(line["y2"]) > y - 9 for line in faint for y in names
        )
