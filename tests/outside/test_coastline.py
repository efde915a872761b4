"""The coastline that lies in ``fixtures/coastline``, held to what others say of the same places.

``land_or_sea.csv``: 240 places drawn at random over the globe (numpy's generator, seed 2026, until there
were 120 of each), with the answer of the package ``global_land_mask`` 1.0.0 (Todd Karin, MIT), which reads
the GLOBE elevations of NOAA (1999, a grid of one kilometre; public domain). It shares nothing with Natural
Earth.

The remotest places of continents and of the sea: Garcia-Castellanos and Lombardo, *Poles of inaccessibility:
a calculation algorithm for the remotest places on Earth*, Scottish Geographical Journal 123 (2007); Point
Nemo: NOAA, National Ocean Service. Positions and distances *from memory*.
"""

import csv
from functools import cache
from pathlib import Path

import pytest

from inventory.permits.readers.coastline import coastline, shore_of
from inventory.permits.rules.shore import COAST_ERRS_M

PLACES = Path(__file__).with_name("land_or_sea.csv")


@cache
def _told() -> list[tuple[str, float]]:
    with PLACES.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return [
        (row["mask"], coastline().metres_inland(float(row["latitude"]), float(row["longitude"])))
        for row in rows
    ]


def test_land_is_land_and_sea_is_sea_as_another_source_has_them() -> None:
    told = _told()
    assert len(told) == 240
    assert [metres for mask, metres in told if mask == "sea" and metres > COAST_ERRS_M] == []
    assert [metres for mask, metres in told if mask == "land" and metres < -COAST_ERRS_M] == []
    otherwise = [metres for mask, metres in told if (mask == "land") != (metres > 0)]
    assert len(otherwise) <= 2


def test_nearly_all_of_the_land_is_far_enough_inland_to_be_told() -> None:
    on_land = [metres for mask, metres in _told() if mask == "land"]
    assert sum(metres > COAST_ERRS_M for metres in on_land) >= 0.95 * len(on_land)


@pytest.mark.parametrize(
    ("latitude", "longitude", "km"),
    [
        (-48.8767, -123.3933, -2688),  # Point Nemo
        (5.65, 26.17, 1814),  # Africa
        (-23.17, 132.27, 928),  # Australia
        (43.36, -101.97, 1650),  # North America
    ],
)
def test_the_remotest_places_are_as_remote_as_is_published(
    latitude: float, longitude: float, km: float
) -> None:
    assert coastline().metres_inland(latitude, longitude) / 1000 == pytest.approx(km, rel=0.015)


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        (50.34, -4.15),  # Plymouth Sound
        (56.413, -5.475),  # Oban, the harbour
        (57.815, -8.59),  # St Kilda
        (69.65, 18.96),  # Tromsø
        (43.733, 7.42),  # Monaco
        (40.832, 14.236),  # Naples, before the Villa Comunale
        (36.61, -121.90),  # Monterey
        (-33.85, 151.24),  # Port Jackson
        (-18.14, 178.42),  # Suva
        (-16.85, -179.97),  # Taveuni, beyond the meridian of 180
        (61.23, 7.70),  # the head of the Sognefjord, 180 km from the open sea
    ],
)
def test_shores_harbours_and_fjords_are_no_inland(latitude: float, longitude: float) -> None:
    """Places off an atlas, *from memory*."""
    assert shore_of(latitude, longitude).inland_m < COAST_ERRS_M


@pytest.mark.parametrize(
    ("latitude", "longitude", "km"),
    [
        (52.52, 13.405, 140),  # Berlin
        (40.417, -3.704, 300),  # Madrid
        (-23.70, 133.88, 850),  # Alice Springs
        (53.5, 108.0, 1600),  # Lake Baikal: lakes are land
        (-90.0, 0.0, 500),  # the South Pole
        (67.0, 179.99, 60),  # Chukotka, on both sides of the meridian of 180
        (67.0, -179.99, 60),
    ],
)
def test_towns_lakes_and_the_pole_are_inland(latitude: float, longitude: float, km: float) -> None:
    """At least so far, off an atlas, *from memory*."""
    assert shore_of(latitude, longitude).inland_m > km * 1000


def test_the_caspian_is_a_sea_and_the_north_pole_is_at_sea() -> None:
    assert shore_of(42.0, 50.0).inland_m < -80_000
    # Kaffeklubben Island, 83° 40' N (from memory): 704 km.
    assert shore_of(90.0, 0.0).inland_m == pytest.approx(-704_000, rel=0.01)


def test_a_pair_that_is_no_position_when_turned_round_is_not_looked_at_so() -> None:
    assert shore_of(60.5, -4.5).swapped_m is not None
    assert shore_of(60.5, 104.5).swapped_m is None
