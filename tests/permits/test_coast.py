"""How far from the shore a position lies, on invented land; and what is made of it."""

import math
from datetime import date

import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st

from inventory.permits.rules.checks import CaseKind, Terms, TripFacts, check_position, check_trip
from inventory.permits.rules.coast import Coast
from inventory.permits.rules.shore import COAST_ERRS_M, Shore, Waters, wrong_side

RADIUS = 6_371_008.8
SQUARE = ((-5.0, 60.0), (-4.0, 60.0), (-4.0, 61.0), (-5.0, 61.0))
DAY = date(2026, 6, 1)
FAR = COAST_ERRS_M + 1.0


def _box(west: float, south: float, east: float, north: float) -> Coast:
    """An island, with corners often enough that its sides are what they are on a globe too."""
    return Coast([shapely.segmentize(shapely.box(west, south, east, north), 0.05)])


def _great_circle(a: tuple[float, float], b: tuple[float, float]) -> float:
    """Metres between two (latitude, longitude): the law of haversines."""
    (lat1, lon1), (lat2, lon2) = (tuple(map(math.radians, one)) for one in (a, b))
    half = (
        math.sin((lat2 - lat1) / 2) ** 2 + math.cos(lat1) * math.cos(lat2) * math.sin((lon2 - lon1) / 2) ** 2
    )
    return 2 * RADIUS * math.asin(math.sqrt(min(half, 1)))


ISLAND = _box(10, 50, 12, 51)
CORNERS = shapely.get_coordinates(shapely.segmentize(shapely.box(10, 50, 12, 51), 0.002)).tolist()


@settings(max_examples=40, deadline=None)
@given(st.floats(-90, 90), st.floats(-180, 180))
@example(90.0, 0.0)
@example(-50.5, -169.0)
@example(50.5, 11.0)
def test_the_distance_is_that_to_the_nearest_point_of_the_shore(latitude: float, longitude: float) -> None:
    nearest = min(_great_circle((latitude, longitude), (y, x)) for x, y in CORNERS)
    found = ISLAND.metres_inland(latitude, longitude)
    assert abs(found) == pytest.approx(nearest, rel=1e-3, abs=150)
    assert (found >= 0) == (50 <= latitude <= 51 and 10 <= longitude <= 12)


def test_a_degree_of_longitude_is_short_in_the_north() -> None:
    """One degree on the equator and on the parallel of 60: half of it (the cosine)."""
    equator = _box(0, -5, 30, 5).metres_inland(0.0, 1.0)
    north = _box(0, 55, 30, 65).metres_inland(60.0, 1.0)
    assert equator == pytest.approx(math.radians(1) * RADIUS, rel=1e-4)
    assert north == pytest.approx(equator / 2, rel=1e-3)


def test_the_cut_at_the_meridian_of_180_is_no_shore() -> None:
    land = [shapely.box(170, -5, 180, 5), shapely.box(-180, -5, -170, 5)]
    coast = Coast([shapely.segmentize(part, 0.1) for part in land])
    five = math.radians(5) * RADIUS
    for longitude in (180.0, -180.0, 179.999, -179.999):
        assert coast.metres_inland(0.0, longitude) == pytest.approx(five, rel=1e-3)
    at_sea = coast.metres_inland(8.0, -180.0)
    assert at_sea == pytest.approx(-math.radians(3) * RADIUS, rel=1e-3)


def test_the_shore_beyond_the_meridian_of_180_is_the_nearest() -> None:
    coast = Coast([shapely.box(-179.9, -1, -179, 1), shapely.box(170, -1, 171, 1)])
    assert coast.metres_inland(0.0, 179.9) == pytest.approx(-math.radians(0.2) * RADIUS, rel=1e-3)


def test_land_that_is_closed_at_the_pole_has_no_shore_there() -> None:
    coast = Coast([shapely.segmentize(shapely.box(-180, -90, 180, -70), 0.1)])
    twenty = math.radians(20) * RADIUS
    assert coast.metres_inland(-90.0, 0.0) == pytest.approx(twenty, rel=1e-3)
    assert coast.metres_inland(-89.0, 77.0) == pytest.approx(math.radians(19) * RADIUS, rel=1e-3)


def test_a_lake_that_is_left_open_is_water() -> None:
    around = shapely.Polygon(shapely.box(0, 0, 10, 10).exterior, [shapely.box(4, 4, 6, 6).exterior])
    assert Coast([around]).metres_inland(5.0, 5.0) == pytest.approx(-math.radians(1) * RADIUS, rel=1e-2)


# What is made of it


@pytest.mark.parametrize(
    ("waters", "inland", "doubtful"),
    [
        (Waters.SEA, FAR, True),
        (Waters.SEA, COAST_ERRS_M, False),
        (Waters.SEA, -1e6, False),
        (Waters.INLAND, -FAR, True),
        (Waters.INLAND, 1e6, False),
        (Waters.BOTH, 1e6, False),
        (Waters.BOTH, -1e6, False),
    ],
)
def test_a_position_is_doubted_by_the_waters_of_the_permit(
    waters: Waters, inland: float, doubtful: bool
) -> None:
    assert bool(wrong_side(Shore(inland), waters, uncertainty_m=0, permit="P")) is doubtful


def test_a_position_that_is_uncertain_is_doubted_only_beyond_that() -> None:
    shore = Shore(COAST_ERRS_M + 500.0)
    assert wrong_side(shore, Waters.SEA, uncertainty_m=400, permit="P")
    assert not wrong_side(shore, Waters.SEA, uncertainty_m=500, permit="P")


@pytest.mark.parametrize(
    ("waters", "shore", "words"),
    [
        (
            Waters.SEA,
            Shore(34_400.0),
            "lies 34 km inland, and P is for the sea: correct the position, "
            "or amend the waters of the permit if it is for lakes and rivers too",
        ),
        (
            Waters.SEA,
            Shore(34_400.0, -5.0),
            "lies 34 km inland, and P is for the sea: are the two swapped? Then they lie at sea",
        ),
        (
            Waters.INLAND,
            Shore(-20_000.0, 5.0),
            "lies 20 km out at sea, and P is for lakes and rivers: "
            "are the two swapped? Then they lie on land",
        ),
    ],
)
def test_the_doubt_says_what_to_do(waters: Waters, shore: Shore, words: str) -> None:
    assert wrong_side(shore, waters, uncertainty_m=0, permit="P") == words


@pytest.mark.parametrize(
    ("area", "inland", "kinds"),
    [
        (SQUARE, FAR, [CaseKind.OUTSIDE_AREA, CaseKind.COORDINATES]),
        (SQUARE, -FAR, [CaseKind.OUTSIDE_AREA]),
        ((), FAR, [CaseKind.COORDINATES]),
        ((), 0.0, []),
    ],
)
def test_the_area_and_the_coast_are_two_matters(
    area: tuple[tuple[float, float], ...], inland: float, kinds: list[CaseKind]
) -> None:
    terms = Terms("P", date(2026, 1, 1), date(2026, 12, 31), area=area)
    found = check_position(10.0, 20.0, terms, shore=Shore(inland))
    assert [breach.kind for breach in found] == kinds


def test_a_pair_that_is_swapped_by_the_area_is_told_once() -> None:
    terms = Terms("P", date(2026, 1, 1), date(2026, 12, 31), area=SQUARE)
    (breach,) = check_position(-4.5, 60.5, terms, shore=Shore(FAR, -FAR))
    assert breach.words == "latitude -4.5, longitude 60.5: swapped, they lie inside the area of P"


def test_nought_and_nought_is_asked_about() -> None:
    trip = TripFacts(DAY, DAY, latitude=0.0, longitude=0.0, shore=Shore(-570_000.0))
    (breach,) = check_trip(trip, Terms("P", date(2026, 1, 1), date(2026, 12, 31)))
    assert breach.kind is CaseKind.COORDINATES
    assert "so some devices write where they know no position" in breach.words
