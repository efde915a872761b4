"""The charts of a census: what is drawn is what the table says, and who counts sees neither."""

import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.counts import Entry
from census.rounds.actions.decide import decide_line
from census.rounds.models import Census
from census.rounds.queries.charts import accuracy_points, drift_series, funnel_points, loss_bars, loss_months
from census.rounds.queries.reading import read_census
from census.rounds.rules.charts import (
    AccuracyPoint,
    DriftPoint,
    FunnelPoint,
    LossBar,
    LossMonth,
    accuracy_words,
    drift_words,
    funnel_edge,
    loss_words,
    month_words,
)
from census.rounds.rules.settings import DEFAULTS
from census.rounds.rules.settling import Settling
from census.rounds.rules.tolerance import tolerance
from census.rounds.rules.words import How
from census.rounds.writers import charts as drawn
from inventory.doors.svg import Drawing, Scale, number
from tests import factories

from .house import COUNTED, NOW, ZONE, TestHouse

SVG = "{http://www.w3.org/2000/svg}"
values = st.decimals(-1_000_000, 1_000_000, places=2).map(float)


@given(values, values, st.booleans())
def test_the_ends_of_a_scale_are_its_ends_and_larger_lies_further(low: float, high: float, log: bool) -> None:
    low, high = sorted((low, high))
    scale = Scale(low, high, 40, 330, signed_log=log)
    if high - low > 1e-3:
        assert [scale(low), scale(high)] == pytest.approx([40.0, 330.0])
        assert scale(low) <= scale((low + high) / 2) <= scale(high)
    else:
        assert 40 <= scale(low) <= 330


@given(values, values, st.booleans())
def test_ticks_are_few_round_and_within_the_scale(low: float, high: float, log: bool) -> None:
    low, high = sorted((low, high))
    ticks = Scale(low, high, 40, 330, signed_log=log).ticks()
    assert len(ticks) <= 8
    assert ticks == sorted(set(ticks))
    assert all(low - 1e-6 * abs(low) <= tick <= high + 1e-6 * abs(high) for tick in ticks)


def test_ticks_are_ones_twos_and_fives() -> None:
    assert Scale(0, 97, 0, 1).ticks() == [0, 20, 40, 60, 80]
    assert Scale(-3, 4, 0, 1).ticks() == [-2, 0, 2, 4]
    assert Scale(0, 5000, 0, 1, signed_log=True).ticks() == [0, 1, 10, 100, 1000]
    assert [number(n) for n in (0, -1200, 0.5)] == ["0", "\N{MINUS SIGN}1,200", "0.5"]


@given(st.text(), st.text())
def test_whatever_is_written_into_a_chart_stays_text(title: str, told: str) -> None:
    drawing = Drawing("key", title, told)
    drawing.text(1, 1, told)
    drawing.mark("circle", (1, 1), told=told)
    printable = "".join(c for c in title + told if c.isprintable())
    if printable == title + told:
        root = ElementTree.fromstring(drawing.svg)
        assert [element.tag.removeprefix(SVG) for element in root] == [
            "title", "desc", "text", "circle",
        ]  # fmt: skip


def test_a_chart_has_no_colour_no_style_and_no_script_and_says_what_it_shows() -> None:
    svg = drawn.funnel("B", [FunnelPoint("s 1", "K1", "Gobius niger", "B", 40, 35, 2, False)], DEFAULTS)
    root = ElementTree.fromstring(svg)
    assert root.get("role") == "img"
    names = (root.get("aria-labelledby") or "").split()
    assert {element.get("id") for element in root if element.get("id")} == set(names)
    assert not re.search(r"(?<!font-)style=|<script|rgb|#[0-9a-f]{3}| on\w+=", svg)
    fills = {element.get(kind) for element in root.iter() for kind in ("fill", "stroke")}
    assert fills <= {None, "none", "currentColor"}
    (words,) = root.iterfind(f"{SVG}desc")
    assert "1 line counted" in (words.text or "")
    assert "\N{MINUS SIGN}5, Gobius niger in K1" in (words.text or "")


def test_those_farthest_out_are_named_in_the_chart_and_no_name_lies_on_another_mark() -> None:
    far = [FunnelPoint("s 1", "K1", "Gobius niger", "B", 40, 25, 2, False)]
    near = [FunnelPoint(f"s {n}", "K1", "Labrus mixtus", "B", 40, 25 + n, 2, False) for n in range(2, 8)]
    inside = [FunnelPoint("s 9", "K1", "Conger conger", "B", 40, 40, 2, True)]
    root = ElementTree.fromstring(drawn.funnel("B", [*near, *far, *inside], DEFAULTS))
    named = [(text, span.text) for text in root.iter(f"{SVG}text") for span in text.iter(f"{SVG}tspan")]
    assert named[0][1] == "Gobius niger"
    assert "Conger conger" not in {name for _, name in named}
    assert len(named) <= 3
    heights = [float(text.attrib["y"]) for text, _ in named]
    assert all(abs(a - b) >= 11 for a, b in pairwise(sorted(heights)))


@given(st.sampled_from("ABC"), st.lists(st.integers(0, 20_000), min_size=1, max_size=30))
def test_the_band_is_the_tolerance_at_every_point_it_is_drawn_through(name: str, books: list[int]) -> None:
    edge = funnel_edge(name, books, DEFAULTS)
    assert edge[0][0] == 0
    assert edge[-1][0] == max(1, *books)
    assert [book for book, _ in edge] == sorted({book for book, _ in edge})
    assert all(allowed == tolerance(name, book, DEFAULTS) for book, allowed in edge)


def _drift(*counts: tuple[int, int | None]) -> list[DriftPoint]:
    return [
        DriftPoint(f"CS-{n}", book, value, None, None, False, "full count", False)
        for n, (book, value) in enumerate(counts)
    ]


@pytest.mark.parametrize(
    ("counts", "words"),
    [
        ([(100, 95), (95, 90), (95, 88)], "all lie below the book: it drifts"),
        ([(100, 104), (95, 99), (95, 97)], "all lie above the book: it drifts"),
        ([(100, 95), (95, 96), (95, 88)], "do not lie on one side"),
        ([(100, 95), (95, 90)], "do not lie on one side"),
        ([(100, None)], "not counted yet"),
    ],
)
def test_the_words_of_a_course_say_whether_it_drifts(
    counts: list[tuple[int, int | None]], words: str
) -> None:
    points = _drift(*counts)
    assert words in drift_words(points, 3)
    assert words.replace("\N{MINUS SIGN}", "-")[:9] in drawn.drift("d", "t", points, 3)


def test_the_book_steps_from_census_to_census_and_never_slopes() -> None:
    """It keeps its number until an event changes it: a slope would draw numbers that it never had."""
    svg = drawn.drift("d", "t", _drift((100, 95), (40, 40), (70, 71)), 3)
    way = re.search(r'<path d="M([^"]+)"', svg)
    assert way is not None
    points = [tuple(map(float, point.split())) for point in way[1].split("L")]
    assert all(a[0] == b[0] or a[1] == b[1] for a, b in pairwise(points))
    assert len({y for _, y in points}) == 3


def test_a_change_of_method_is_marked_and_a_range_is_drawn() -> None:
    one = DriftPoint("CS-1", 400, 380, 360, 410, False, "passes or pictures", False)
    other = DriftPoint("CS-2", 400, 420, None, None, True, "sample squares", True)
    svg = drawn.drift("d", "Herring in K1", [one, other], 3)
    assert "other method" in svg
    assert svg.count("<line") > drawn.drift("d", "Herring in K1", [one], 3).count("<line")
    assert "at least 420" in svg


def test_losses_are_rated_by_what_was_held_and_the_highest_stands_first() -> None:
    bars = [LossBar("K1", "Kelp", "animal", 3, 0, 60), LossBar("K2", "Shore", "animal", 4, 9, 400)]
    assert [bar.per_hundred for bar in bars] == [5.0, 1.0]
    assert "The highest is K1 with 5 in 100: 3 of 60" in loss_words(bars)
    assert (
        loss_words([LossBar("K3", "Rock", "animal", 0, 2, 10)]) == "No loss was written off as unexplained."
    )


def test_a_share_of_few_animals_is_not_told_the_numbers_are() -> None:
    bars = [LossBar("K3", "Rock", "animal", 1, 0, 6), LossBar("K1", "Kelp", "animal", 3, 0, 60)]
    assert [bar.per_hundred for bar in bars] == [None, 5.0]
    assert "The highest is K1" in loss_words(bars)
    assert "Of 1 place with 20 animals or fewer the numbers alone are told." in loss_words(bars)
    svg = drawn.losses(bars)
    assert "1 of 6: too few for a share" in svg
    assert "16.7" not in svg


def test_the_span_of_a_month_is_the_exact_poisson_interval() -> None:
    # Garwood 1936 (Biometrika 28), table of exact limits: 0 gives 0 to 3.69, 3 gives 0.62 to 8.77.
    assert [round(end, 2) for end in LossMonth("2026-09", "animal", 0, 0).span] == [0.0, 3.69]
    assert [round(end, 2) for end in LossMonth("2026-09", "animal", 3, 0).span] == [0.62, 8.77]


def test_months_are_told_apart_only_where_the_numbers_are_large_enough() -> None:
    def year(*losses: int) -> list[LossMonth]:
        return [LossMonth(f"2026-{n:02d}", "animal", n_lost, 0) for n, n_lost in enumerate(losses, start=1)]

    assert "too small to tell the months apart" in month_words(year(0, 1, 0, 2))
    assert "above the mean" in month_words(year(0, 1, 0, 30))
    assert "No loss" in month_words(year(0, 0))


@pytest.mark.django_db
def test_what_was_written_off_stands_in_its_month(
    house: TestHouse, client: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    census = house.compared({"bib": 20, "shoal": 300})
    house.count(census, {"bib": 20}, round=2)
    for name, n in (("bib", -2), ("shoal", -120)):
        lost = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=n, note="pump stood")
        decide_line(
            line=house.line(census, name),
            settling=lost,
            by=house.registrar,
            approved_by=house.curator,
            now=NOW,
            zone=ZONE,
        )
    with django_assert_num_queries(1):
        months = loss_months(census, ZONE)
    assert [one.month for one in months][0::11] == ["2025-10", "2026-09"]
    assert (months[-1].losses, sum(one.losses for one in months)) == (122, 122)
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    page = client.get(reverse("census_charts", args=[census.code])).content.decode()
    assert "Most in September 2026: 122, by chance 101 to 146" in page


def test_accuracy_is_told_beside_its_target() -> None:
    points = [AccuracyPoint("CS-1", "B", 40, 90.0, 95.0, 40), AccuracyPoint("CS-2", "B", 40, 92.5, 97.5, 39)]
    assert [one.first_words for one in points] == ["90.0", "92.5 (of 39)"]
    assert accuracy_words(points) == "Class B 97.5 % at CS-2, target 97 %."
    assert drawn.accuracy(points).count("<title") == 1 + 2


@pytest.mark.django_db
def test_the_figures_are_those_of_the_census(house: TestHouse) -> None:
    census = house.compared({"goby": 9, "shoal": 400})
    rows = read_census(census)
    points = {point.name: point for point in funnel_points(rows)}
    goby, shoal = points["Gobius niger"], points["Clupea harengus"]
    assert (goby.book, goby.count, goby.difference, goby.inside) == (11, 9, -2, False)
    assert (shoal.difference, shoal.allowed, shoal.inside) == (-20, 42, True)
    by_class = {point.count_class: point for point in accuracy_points([(census, rows)], DEFAULTS)}
    assert by_class["C"].latest == 100.0
    assert by_class["B"].latest is not None
    assert by_class["B"].latest < 100
    assert loss_bars(rows) == []


@pytest.mark.django_db
def test_a_course_has_the_range_and_the_method_of_its_counts(house: TestHouse) -> None:
    census = house.opened_and_issued()
    line = house.line(census, "shoal")
    house.count(
        census,
        {
            "shoal": Entry(
                line=line.number,
                counted_at=COUNTED,
                counter=house.first,
                value=400,
                low=390,
                high=440,
                method="passes or pictures: 400 390 440",
            )
        },
    )
    taxon = house.lots["shoal"].taxon
    ((place, points),) = drift_series(taxon, [census], DEFAULTS).items()
    (point,) = points
    assert place == "K1"
    assert (point.book, point.value, point.low, point.high) == (420, 400, 390, 440)
    assert point.method == "passes or pictures"
    assert not point.breaks


@pytest.fixture
def compared(house: TestHouse) -> Census:
    return house.compared({"goby": 9, "shoal": 400})


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_the_page_has_each_chart_with_its_table(house: TestHouse, compared: Census, client: Client) -> None:
    client.force_login(house.registrar.user)  # type: ignore[arg-type]
    page = client.get(reverse("census_charts", args=[compared.code])).content.decode()
    for key in ("funnel-A", "funnel-B", "funnel-C", "accuracy"):
        assert f'id="{key}-title"' in page
    for caption in ("Differences, those outside first", "Lines inside tolerance", "as unexplained in"):
        assert caption in page
    address = reverse("census_drift", args=[compared.code, "Clupea harengus"])
    assert address in page
    course = client.get(address).content.decode()
    assert "Counts and book in K1" in course
    assert 'id="drift-1-title"' in course
    assert client.get(reverse("census_drift", args=[compared.code, "Nemo"])).status_code == 404


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_who_counts_or_only_counts_sees_no_chart(house: TestHouse, client: Client) -> None:
    census = house.opened_and_issued()
    address = reverse("census_charts", args=[census.code])
    client.force_login(house.second.user)  # type: ignore[arg-type]
    assert client.get(address).status_code == 403
    counts = factories.make_person("Ragna", roles=["registrar"])
    client.force_login(counts.user)  # type: ignore[arg-type]
    assert client.get(address).status_code == 200
    census.sheets.all()[0].counters.add(counts)
    answer = client.get(address)
    assert answer.status_code == 403
    assert "You are counting now" in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.usefixtures("frozen_clock")
def test_more_lines_ask_no_more_queries(
    house: TestHouse, compared: Census, client: Client, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client.force_login(house.registrar.user)  # type: ignore[arg-type]
    address = reverse("census_charts", args=[compared.code])
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    house.add_many_lines(compared)
    with django_assert_num_queries(len(few)):
        client.get(address)
