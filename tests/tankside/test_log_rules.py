"""Readings as plain values: units, what can be no reading, the range wanted, and the chart.

Turning degrees: the fixed points of the scales (water freezes at 0 °C and 32 °F, boils at 100 °C and
212 °F at 1 atm; -40 is the same in both) are common knowledge of the scales' definition, NIST SP 811
(2008), appendix B.8: t/°C = (t/°F - 32)/1.8.
"""

import json
import re
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.book.rules.words import MINUS
from inventory.tankside.rules.log_chart import (
    GAP,
    SIZES,
    Asked,
    Happening,
    Value,
    days_to_label,
    draw,
    nice_axis,
    thinned,
    unbroken,
)
from inventory.tankside.rules.readings import (
    QUANTITIES,
    NotAReading,
    checked,
    converted,
    exactly,
    said,
)
from inventory.tankside.rules.wanted import Wanted, WantedRanges, outside

from ..sources import PROJECT

ZONE = ZoneInfo("Atlantic/Faroe")
NOON = datetime(2026, 10, 1, 12, tzinfo=ZONE)


@pytest.mark.parametrize(
    ("fahrenheit", "celsius"),
    [("32", "0.0"), ("-40", "-40.0"), ("212", "100.0"), ("50", "10.0"), ("48.9", "9.4")],
)
def test_degrees_turn_into_each_other_at_the_scales_own_points(fahrenheit: str, celsius: str) -> None:
    assert converted("temperature", Decimal(fahrenheit), "°F", "°C") == Decimal(celsius)
    assert abs(exactly("temperature", Decimal(fahrenheit), "°F") - Decimal(celsius)) < Decimal("0.05")


@given(st.decimals("-3", "45", places=1))
def test_a_temperature_turned_there_and_back_is_the_same(value: Decimal) -> None:
    """A tenth of a degree Celsius is coarser than a tenth of a degree Fahrenheit."""
    there = converted("temperature", value, "°C", "°F")
    assert there is not None
    assert converted("temperature", there, "°F", "°C") == value


def test_what_is_shown_in_its_own_unit_stays_as_it_was_stated() -> None:
    assert converted("temperature", Decimal("9.37"), "°C", "°C") == Decimal("9.37")


@pytest.mark.parametrize(("quantity", "a", "b"), [("salinity", "g/kg", "PSU"), ("oxygen", "mg/L", "%")])
def test_different_scales_are_never_turned_into_each_other(quantity: str, a: str, b: str) -> None:
    assert converted(quantity, Decimal(30), a, b) is None


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "says"),
    [
        ("temperature", "400", "°C", rf"400 °C is no temperature of a tank; expected {MINUS}3 °C to 45 °C$"),
        ("temperature", "54", "°C", r"Was it 54 °F, which is 12.2 °C\?"),
        ("temperature", "-40", "°F", "no temperature of a tank"),
        ("salinity", "350", "PSU", "350 is no salinity of a tank; expected 0 to 80$"),
        ("oxygen", "900", "%", "expected 0 % to 400 %"),
        ("ph", "81", "pH", "81 is no pH of a tank; expected 4 to 11$"),
        ("temperature", "warm", "°C", "'warm' is no number; expected one such as 9.4"),
        ("temperature", "nan", "°C", "no number"),
        ("temperature", "Infinity", "°C", "no number"),
        ("temperature", "9", "K", "'K' is no unit of temperature; expected °C, °F"),
        ("turbidity", "9", "NTU", "'turbidity' is not measured here; expected temperature, salinity"),
    ],
)
def test_nonsense_is_refused_with_what_was_expected(quantity: str, value: str, unit: str, says: str) -> None:
    with pytest.raises(NotAReading, match=says):
        checked(quantity, value, unit)


@pytest.mark.parametrize(
    ("typed", "means"), [("9.4", "9.4"), ("9,4", "9.4"), (f" {MINUS}1.8 ", "-1.8"), ("-1.8", "-1.8")]
)
def test_numbers_are_read_as_people_write_them(typed: str, means: str) -> None:
    assert checked("temperature", typed, "°C") == Decimal(means)


def test_every_quantity_takes_its_bounds_and_nothing_beyond() -> None:
    for quantity in QUANTITIES:
        for unit in quantity.units:
            assert checked(quantity.code, unit.low, unit.code) == unit.low
            assert checked(quantity.code, unit.high, unit.code) == unit.high
            for beyond in (unit.low - 1, unit.high + 1):
                with pytest.raises(NotAReading):
                    checked(quantity.code, beyond, unit.code)


def test_values_are_said_with_their_unit() -> None:
    assert said(Decimal("-1.80"), "°C") == f"{MINUS}1.8 °C"
    assert said(Decimal("34.1000"), "PSU") == "34.1"
    assert said(Decimal("100"), "%") == "100 %"


def wanted(low: str | None, high: str | None, unit: str = "°C", since: str = "2026-01-01") -> Wanted:
    return Wanted(
        "temperature", unit, low and Decimal(low), high and Decimal(high), date.fromisoformat(since)  # type: ignore[arg-type]
    )  # fmt: skip


@pytest.mark.parametrize(
    ("value", "range_", "says"),
    [
        ("7.9", wanted("8", "11"), "below 8 to 11 °C"),
        ("8", wanted("8", "11"), ""),
        ("11", wanted("8", "11"), ""),
        ("11.1", wanted("8", "11"), "above 8 to 11 °C"),
        ("12", wanted(None, "11"), "above at most 11 °C"),
        ("9", wanted("50", None, "°F"), "below at least 50 °F"),
        ("30", None, ""),
    ],
)
def test_a_value_is_held_against_the_range(value: str, range_: Wanted | None, says: str) -> None:
    assert outside(Decimal(value), "°C", range_) == says


def test_a_range_of_another_scale_says_nothing() -> None:
    range_ = Wanted("salinity", "g/kg", Decimal(30), Decimal(36), date(2026, 1, 1))
    assert outside(Decimal(20), "PSU", range_) == ""
    assert outside(Decimal(20), "g/kg", range_) == "below 30 to 36 g/kg"


def test_the_nearest_place_with_a_range_on_that_day_says_it() -> None:
    """A basin (3) in an exhibit (2) in a hall (1)."""
    early, late = wanted("8", "11"), wanted("9", "12", since="2026-06-01")
    off = wanted(None, None, since="2026-09-01")
    ranges = WantedRanges(
        {(1, "temperature"): [early, late], (3, "temperature"): [off]}, {1: None, 2: 1, 3: 2}
    )
    assert ranges.at(2, "temperature", date(2026, 5, 31)) == early
    assert ranges.at(2, "temperature", date(2026, 6, 1)) == late
    assert ranges.at(3, "temperature", date(2026, 8, 31)) == late
    assert ranges.at(3, "temperature", date(2026, 9, 1)) is None
    assert ranges.at(2, "temperature", date(2025, 12, 31)) is None
    assert ranges.at(2, "oxygen", date(2026, 6, 1)) is None


def test_points_are_not_joined_over_more_than_two_days() -> None:
    moments = [NOON, NOON + GAP, NOON + 2 * GAP + timedelta(minutes=1), NOON + 2 * GAP + timedelta(hours=1)]
    parts = unbroken([Value(moment, 9.0) for moment in moments])
    assert [len(part) for part in parts] == [2, 2]
    chart = draw(Asked(NOON, NOON + timedelta(days=7), [Value(m, 9.0) for m in moments]), SIZES[0], ZONE)
    assert len(chart.lines) == 2
    assert len(chart.spots) == 4


@given(
    st.lists(st.tuples(st.integers(0, 7 * 24 * 60 - 1), st.floats(-3, 45)), min_size=1, max_size=40),
    st.sampled_from(SIZES),
)
def test_every_point_lies_inside_the_axes_in_its_true_place(
    points: list[tuple[int, float]], size: object
) -> None:
    values = sorted((Value(NOON + timedelta(minutes=m), v) for m, v in points), key=lambda one: one.moment)
    chart = draw(Asked(NOON, NOON + timedelta(days=7), values), size, ZONE)  # type: ignore[arg-type]
    for spot in chart.spots:
        assert chart.size.left <= spot.x <= chart.right
        assert chart.size.top - 0.1 <= spot.y <= chart.floor + 0.1
    by_time = [spot.x for spot in chart.spots]
    assert by_time == sorted(by_time)
    highest = max(range(len(values)), key=lambda n: values[n].value)
    assert chart.spots[highest].y == min(spot.y for spot in chart.spots)


@given(st.floats(-1e4, 1e4), st.floats(0, 1e4))
def test_an_axis_has_round_steps_and_holds_both_ends(low: float, length: float) -> None:
    floor, ceiling, step = nice_axis(low, low + length, ticks=5)
    assert floor <= low + 1e-6
    assert ceiling >= low + length - 1e-6
    assert f"{step:e}"[0] in "125"
    assert 1 <= round((ceiling - floor) / step) <= 7


def test_a_bound_of_the_range_never_hides_behind_an_axis() -> None:
    for low, high in ((8.0, 12.0), (9.0, 11.0), (10.0, 10.5)):
        asked = Asked(NOON, NOON + timedelta(days=7), [Value(NOON, 10.0)], low=low, high=high)
        for size in SIZES:
            chart = draw(asked, size, ZONE)
            assert all(size.top < bound.at < chart.floor for bound in chart.wanted)


def test_many_readings_are_drawn_by_the_lowest_and_highest_of_each_step() -> None:
    values = [Value(NOON + timedelta(minutes=n), float(n % 17)) for n in range(10_000)]
    values[4_321] = Value(values[4_321].moment, 99.0, outside=True)
    kept = thinned(values, steps=100)
    assert len(kept) <= 200
    assert max(one.value for one in kept) == 99.0
    assert [one.moment for one in kept] == sorted(one.moment for one in kept)
    chart = draw(Asked(NOON, NOON + timedelta(days=7), values), SIZES[0], ZONE)
    assert chart.thinned
    assert sum(spot.outside for spot in chart.spots) == 1


@pytest.mark.parametrize("days", [1, 7, 30, 90, 365, 1500])
@pytest.mark.parametrize("size", SIZES, ids=lambda size: size.name)
def test_days_on_the_axis_do_not_crowd(days: int, size: object) -> None:
    asked = Asked(NOON, NOON + timedelta(days=days), ())
    labels = days_to_label(asked, ZONE, size.most_days)  # type: ignore[attr-defined]
    assert 1 <= len(labels) <= size.most_days + 1  # type: ignore[attr-defined]
    assert all(asked.since <= moment < asked.before for moment, _ in labels)


def test_the_day_when_clocks_change_is_one_day_on_the_axis() -> None:
    """25 October 2026 has 25 hours on the Faroes (IANA time zone database)."""
    since = datetime(2026, 10, 24, tzinfo=ZONE)
    asked = Asked(since, datetime(2026, 10, 28, tzinfo=ZONE), ())
    assert [label for _, label in days_to_label(asked, ZONE, 10)] == ["24 Oct", "25 Oct", "26 Oct", "27 Oct"]


def test_deaths_and_births_are_marks_with_numbers_under_the_axis() -> None:
    deaths = [Happening(date(2026, 10, 2), 1), Happening(date(2026, 10, 3), 4)]
    births = [Happening(date(2026, 10, 3), 12)]
    asked = Asked(NOON, NOON + timedelta(days=7), [Value(NOON, 9.0)], deaths=deaths, births=births)
    for size in SIZES:
        chart = draw(asked, size, ZONE)
        assert [mark.label for mark in chart.deaths] == ["", "4"]
        assert [mark.label for mark in chart.births] == ["12"]
        assert chart.deaths[1].x == chart.births[0].x
        assert chart.floor < chart.deaths[0].y < chart.births[0].y < size.height


def test_the_number_of_a_mark_at_the_end_stands_before_it_and_is_not_cut() -> None:
    """Forty born today were read as four on a phone: the rest lay outside the drawing."""
    happened = [Happening(date(2026, 10, 3), 3), Happening(date(2026, 10, 30), 40)]
    asked = Asked(NOON, NOON + timedelta(days=29), [Value(NOON, 9.0)], deaths=happened, births=happened)
    for size in SIZES:
        chart = draw(asked, size, ZONE)
        for early, late in (chart.deaths, chart.births):
            assert early.anchor == "start"
            assert early.label_at > early.x
            assert (late.anchor, late.label) == ("end", "40")
            assert late.label_at < late.x < size.width


def test_the_device_knows_the_same_quantities_units_and_bounds() -> None:
    """It checks a value before it keeps it; the list stands in a module of its own and in the rules."""
    module = PROJECT / "inventory/tankside/static/tankside/log_measures.js"
    found = re.search(r"export const MEASURES = (\[.*?\n\]);", module.read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    told = [(quantity, unit, low, high) for quantity, unit, _, low, high in json.loads(found[1])]
    assert told == [
        (quantity.code, unit.code, float(unit.low), float(unit.high))
        for quantity in QUANTITIES
        for unit in quantity.units
    ]
