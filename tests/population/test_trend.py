"""Trends and small charts: what is restated is marked, and scales are one for all or each its own."""

import csv
import re
from io import StringIO
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from django.test import Client
from hypothesis import given
from hypothesis import strategies as st

from census.population.writers import charts
from inventory.people.rules.roles import Role
from tests.change.rows import Book
from tests.change.sample import Sample, make_sample
from tests.factories import make_house, make_lot, make_person, make_place, make_taxon
from tests.rounds.house import make_test_house

SVG = "{http://www.w3.org/2000/svg}"
QUARTER = {"first_day": "2026-07-01", "last_day": "2026-09-30"}


@pytest.fixture
def sample(db: None) -> Sample:
    make_house()
    return make_sample()


@pytest.fixture
def reader(client: Client) -> Client:
    person = make_person(roles=[Role.INSPECTOR])
    assert person.user is not None
    client.force_login(person.user)
    return client


def restate(sample: Sample) -> None:
    """The second quarter is closed again when the late deaths are known."""
    sample.close(sample.second.period, "2026-10-05")


def closings(client: Client, **asked: str) -> dict[str, dict[str, str]]:
    text = client.get("/populations/trend.csv", {**QUARTER, **asked, "part": "2"}).content.decode()
    return {row["quarter"]: row for row in csv.DictReader(StringIO(text))}


def test_a_restated_quarter_has_a_diamond_in_the_chart_and_its_version_in_the_table(
    sample: Sample, reader: Client
) -> None:
    restate(sample)
    page = reader.get("/populations/trend", QUARTER).content.decode()
    told = "2026 Q2 version 2, signed 5 October 2026"
    assert page.count(f"<title>{told}</title>") == 1
    assert f"A diamond on the axis: restated, {told}." in page
    # Words have a wide column; a file has the day as files have it.
    assert f'<td class="why">{told}</td>' in page
    rows = closings(reader)
    assert {quarter: row["restated"] for quarter, row in rows.items() if row["restated"]} == {
        "2026 Q2": "2026 Q2 version 2, signed 2026-10-05"
    }


def test_what_was_restated_later_is_not_marked_as_known_before(sample: Sample, reader: Client) -> None:
    restate(sample)
    asked = {**QUARTER, "known_at": "2026-10-04T12:00"}
    page = reader.get("/populations/trend", asked).content.decode()
    assert "diamond" not in page
    assert not any(row["restated"] for row in closings(reader, known_at="2026-10-04T12:00").values())


def test_without_a_restatement_the_chart_speaks_of_none(sample: Sample, reader: Client) -> None:
    assert "diamond" not in reader.get("/populations/trend", QUARTER).content.decode()


def tops(page: str) -> list[str]:
    """The upper end of the axis of each small chart."""
    small = re.findall(r"<svg[^>]*small-\d+-title.*?</svg>", page)
    return [re.findall(r'text-anchor="end">([\d,]+)</text>', one)[-1] for one in small]


def test_a_line_begins_with_the_opening_stock_and_not_with_nought_before_it(
    sample: Sample, reader: Client
) -> None:
    """What a house held before it kept a book is not known: a line at nought would say that animals came."""
    book = Book()
    place, lot = make_place("X1"), make_lot("OLD", taxon=make_taxon("Conger conger"))
    book.crossing("opening", "2026-02-01", lot, place, 7)
    book.crossing("received", "2026-03-01", lot, place, 2)
    page = reader.get("/populations/trend", {**QUARTER, "taxon": "Conger conger"}).content.decode()
    said = re.sub(r"</?span[^>]*>", "", page)
    assert "The book begins on 1 February 2026 with an opening stock of 7; 9 on 30 September 2026." in said
    (drawn,) = [one for one in re.findall(r"<svg.*?</svg>", page, re.S) if "line: the book" in one]
    begins = re.search(r'<path d="M([\d.]+) ([\d.]+)L', drawn)
    assert begins
    assert float(begins[1]) > charts.LEFT
    assert charts.TOP < float(begins[2]) < charts.FOOT - 50


def test_the_table_of_quarters_begins_with_the_first_of_which_the_book_knows_anything(
    sample: Sample, reader: Client
) -> None:
    """A row of noughts would say that it was looked for, and was not there."""
    book = Book()
    place, lot = make_place("X1"), make_lot("OLD", taxon=make_taxon("Conger conger"))
    book.crossing("received", "2026-02-01", lot, place, 7)
    book.crossing("died", "2026-02-03", lot, place, 7)
    asked = {"taxon": "Conger conger"}
    assert [*closings(reader, **asked)] == ["2026 Q1", "2026 Q2", "2026 Q3"]
    flows = reader.get("/populations/trend.csv", {**QUARTER, **asked, "part": "3"}).content.decode()
    assert [line.split(",")[0] for line in flows.splitlines()[1:]] == ["2026 Q1", "2026 Q2", "2026 Q3"]
    page = reader.get("/reports/taxon", {**QUARTER, "subject": "Conger conger"}).content.decode()
    assert re.findall(r'<th scope="row" class="short">(20\d\d Q\d)</th>', page)[:3] == [
        "2026 Q1",
        "2026 Q2",
        "2026 Q3",
    ]
    assert '<h1><i class="name">Conger conger</i>, ' in page


def test_small_charts_have_one_scale_unless_each_is_to_have_its_own(sample: Sample, reader: Client) -> None:
    page = reader.get("/populations/compare", QUARTER).content.decode()
    assert '<option value="same" selected>one for all</option>' in page
    assert len(tops(page)) > 2
    assert len(set(tops(page))) == 1
    own = reader.get("/populations/compare", {**QUARTER, "scale": "own"}).content.decode()
    assert '<option value="own" selected>each its own</option>' in own
    assert max(map(int, tops(own))) == int(tops(page)[0])
    assert len(set(tops(own))) > 1
    assert "Each chart has a scale of its own" in own


def test_the_scale_is_asked_on_that_page_alone_and_no_other_word_is_one(
    sample: Sample, reader: Client
) -> None:
    assert 'name="scale"' not in reader.get("/populations/trend", QUARTER).content.decode()
    answer = reader.get("/populations/compare", {**QUARTER, "scale": "log"})
    assert answer.status_code == 400


@given(st.lists(st.lists(st.integers(-500, 5000), min_size=8, max_size=8), min_size=1, max_size=5))
def test_on_one_scale_a_number_stands_at_one_height_in_every_chart(rows: list[list[int]]) -> None:
    axis = charts.reach(n for row in rows for n in row)
    heights: dict[int, set[str]] = {}
    for at, row in enumerate(rows):
        points = [(f"Q{place}", n) for place, n in enumerate(row)]
        root = ElementTree.fromstring(charts.small(f"small-{at}", "Goby", "", points, axis))
        marks = list(root.iter(f"{SVG}circle"))
        for mark, n in zip(marks, row, strict=True):
            heights.setdefault(n, set()).add(mark.attrib["cy"])
            assert 26 <= float(mark.attrib["cy"]) <= 76
    assert all(len(found) == 1 for found in heights.values())


@given(st.lists(st.integers(-500, 5000), min_size=2, max_size=8))
def test_between_two_closings_a_small_chart_steps_and_never_slopes(row: list[int]) -> None:
    """The book keeps its number until an event changes it."""
    points = [(f"Q{place}", n) for place, n in enumerate(row)]
    root = ElementTree.fromstring(charts.small("small", "Goby", "", points, charts.reach(row)))
    way = root.findall(f"{SVG}path")[0].attrib["d"].removeprefix("M").split("L")
    corners = [tuple(map(float, corner.split())) for corner in way]
    assert all(a[0] == b[0] or a[1] == b[1] for a, b in pairwise(corners))
    assert len({x for x, _ in corners}) == len(row)


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_the_count_of_a_census_stands_in_the_quarter_that_it_counted(client: Client) -> None:
    """The cutoff is the first moment of the day after: the quarter's own count was in no row of it."""
    house = make_test_house()
    house.compared({"goby": 9})
    client.force_login(house.registrar.user)  # type: ignore[arg-type]
    rows = closings(client, taxon="Gobius niger")
    assert {quarter: row["counts"] for quarter, row in rows.items()} == {"2026 Q3": "CS-26Q3 9, full count"}
    # Nothing is said of counts where none were made.
    assert "counts" not in closings(client)["2026 Q3"]
