"""The bars of a permit: what stands against a limit, in a drawing that says the same as the table."""

import re
from datetime import date
from xml.etree import ElementTree

import pytest
from django.test import Client
from hypothesis import given, settings
from hypothesis import strategies as st

from census.change.rules.question import Question
from census.reports.files.permit_bars import permit_bars, shortened, width_of
from census.reports.rules.permit_bars import Bar, Bars, bar_of
from inventory.permits.rules.accounts import HELD, PERMIT, TRIP, YEAR, Limit, Taken, used_of
from tests.permits.house import PermitHouse

from .conftest import answered

SVG = "{http://www.w3.org/2000/svg}"
DAY = date(2026, 10, 6)
SINCE = date(2025, 1, 1)

takes = st.builds(
    lambda trip, day, let_go, died, kept: Taken(
        1, trip, day, "animal", let_go + died + kept, let_go, died, kept
    ),
    st.integers(1, 3),
    st.dates(date(2024, 6, 1), date(2026, 12, 31)),
    st.integers(0, 9),
    st.integers(0, 9),
    st.integers(0, 9),
)


@given(
    several=st.lists(takes, max_size=8),
    limit=st.integers(0, 40),
    per=st.sampled_from([PERMIT, YEAR, TRIP]),
    counts_let_go=st.booleans(),
)
def test_the_parts_of_a_bar_are_what_is_used_of_its_limit(
    several: list[Taken], limit: int, per: str, counts_let_go: bool
) -> None:
    line = Limit(1, limit, per, "animal", counts_let_go, SINCE)
    used = used_of(line, several, as_of=DAY)
    bar = bar_of("Goby", str(limit), limit=line, used=used, takes=several, as_of=DAY)
    assert bar is not None
    assert bar.kept + bar.died + (bar.let_go if counts_let_go else 0) == bar.used
    assert bar.over == used.over


@settings(max_examples=40)
@given(
    bars=st.lists(
        st.builds(
            Bar,
            words=st.text(st.characters(min_codepoint=32, max_codepoint=400), max_size=80),
            said=st.just("40 a trip"),
            limit=st.integers(0, 50),
            used=st.integers(0, 400),
            kept=st.integers(0, 200),
            died=st.integers(0, 100),
            let_go=st.integers(0, 500),
            counts_let_go=st.booleans(),
            held=st.booleans(),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_nothing_is_drawn_beside_the_drawing_and_all_of_it_is_told(bars: list[Bar]) -> None:
    root = ElementTree.fromstring(permit_bars(Bars("permit-1", "P <1>", bars)))
    _, _, width, height = map(float, root.attrib["viewBox"].split())
    for box in root.iter(f"{SVG}rect"):
        assert float(box.attrib["x"]) >= 0
        assert float(box.attrib["x"]) + float(box.attrib["width"]) <= width + 2.1
        assert float(box.attrib["y"]) + float(box.attrib["height"]) <= height
    told = root.findtext(f"{SVG}desc") or ""
    assert all(bar.told in told for bar in bars)
    assert "class" not in permit_bars(Bars("permit-1", "P", bars))


def test_a_bar_at_its_limit_ends_at_the_line_and_what_is_over_is_outlined_beyond_it() -> None:
    def drawn(kept: int) -> tuple[float, float, int]:
        bar = Bar("Goby", "10", 10, kept, kept, 0, 0)
        root = ElementTree.fromstring(permit_bars(Bars("permit-1", "P", [bar])))
        boxes = [box for box in root.iter(f"{SVG}rect") if float(box.attrib["y"]) > 40]
        line = [one for one in root.iter(f"{SVG}line") if float(one.attrib["y1"]) > 40]
        ends = [float(box.attrib["x"]) + float(box.attrib["width"]) for box in boxes]
        return max(ends), float(line[-1].attrib["x1"]), len(boxes)

    end, line, boxes = drawn(10)
    assert abs(end - line) < 0.2
    assert boxes == 1
    end, line, boxes = drawn(12)
    assert (end > line, boxes) == (True, 2)


def test_a_line_without_a_limit_has_no_bar_and_what_is_held_is_in_one_piece() -> None:
    none = Limit(1, None, PERMIT, "animal", False, SINCE)
    used = used_of(none, [], as_of=DAY)
    assert bar_of("Goby", "no limit", limit=none, used=used, takes=[], as_of=DAY) is None
    held = Limit(1, 10, HELD, "animal", False, SINCE)
    used = used_of(held, [], as_of=DAY, held=7)
    bar = bar_of("Goby", "10 held at once", limit=held, used=used, takes=[], as_of=DAY)
    assert bar is not None
    assert (bar.parts, bar.told) == ((("held", 7),), "7 of 10 held at once")


@pytest.mark.django_db
def test_the_bars_of_the_report_stand_above_the_table_with_the_same_figures(
    house_with_takes: PermitHouse, client: Client
) -> None:
    question = Question(date(2026, 7, 1), date(2026, 9, 30))
    (block,) = answered("permits", question).part("permits").blocks
    assert block.bars is not None
    bars = {bar.words: bar for bar in block.bars.bars}
    lines = {line.label: line.figures for table in block.tables for line in table.lines}
    assert {words: bar.used for words, bar in bars.items()} == {
        label: figures["used"].value for label, figures in lines.items() if label in bars
    }
    assert len(bars) == 6
    jellies = next(bar for words, bar in bars.items() if "Comb jellies" in words)
    assert (jellies.used, jellies.told) == (4, "4 of 5 a trip")
    # Of a limit on each trip nothing is used up for the next.
    assert lines[jellies.words]["left"].value == "5 a trip"
    assert house_with_takes.officer.user is not None
    client.force_login(house_with_takes.officer.user)
    page = client.get("/reports/permits", {"first_day": "2026-07-01", "last_day": "2026-09-30"})
    text = page.content.decode()
    assert text.index(f'id="permit-{house_with_takes.permit.pk}-title"') < text.index("<caption>TEST 1")
    assert re.search(r"<figcaption>Over the limit: 1 Two-spotted goby [^<]*: 11 of 10, over by 1\.", text)
    # The name of a species is in italics, that of a phylum is not; a limit takes no wide column.
    assert re.search(r'<td class="words[^"]*"><i class="name">[A-Z][a-z]+ [a-z]+</i></td>', text)
    assert re.search(r'<td class="words[^"]*">Ctenophora</td>', text)
    assert re.search(r'<td class="num">10</td>', text)
    assert '<th scope="col" class="num">Limit</th>' in text


def test_the_words_of_a_bar_that_has_no_room_for_them_end_with_a_whole_word() -> None:
    words = "7 Fifteen-spined stickleback (Spinachia spinachia)"
    assert shortened(words, width_of(words)) == words
    assert shortened(words, width_of(words) - 1) == "7 Fifteen-spined stickleback (Spinachia…"
    assert shortened(words, 200) == "7 Fifteen-spined stickleback…"
    assert shortened("x" * 60, width_of("x" * 19 + "…")) == "x" * 19 + "…"


def test_the_words_of_a_bar_end_before_its_numbers_begin() -> None:
    """Thirty-eight letters and twenty-one ran into each other where a name has many wide ones."""
    bar = Bar("3 Hippocampus guttulatus, holding only", "20 held at once", 20, 18, 18, 0, 0, held=True)
    root = ElementTree.fromstring(permit_bars(Bars("permit-1", "P", [bar])))
    (numbers,) = (one for one in root.iter(f"{SVG}text") if one.text == bar.told)
    (words,) = (one for one in root.iter(f"{SVG}text") if (one.text or "").startswith("3 Hippocampus"))
    end = float(words.attrib["x"]) + width_of(words.text or "")
    assert end < float(numbers.attrib["x"]) - width_of(bar.told)
