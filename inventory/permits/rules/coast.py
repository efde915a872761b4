"""How far from the shore a position lies, on land or at sea, by a coastline that is told.

The land is polygons in degrees, cut at the meridian of 180 and closed at the poles; such cuts are no
shore. Distances are of great circles on a sphere of 6,371 km, so that neither the latitude nor the cut
nor a pole bends them; against the ellipsoid they err by half of a hundredth at most.
"""

import math
from collections.abc import Iterator, Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

Degrees = NDArray[np.float64]

# Mean radius of the Earth (IUGG, from memory), metres.
_RADIUS = 6_371_008.8
# Corners in one piece of the shore: few enough that a piece is small, many enough that there are few.
_PIECE = 64
# The shore is looked for within this many metres first, then within four times as many, and so on.
_NEAR = 10_000.0
_HALF_ROUND = math.pi * _RADIUS


class Coast:
    """A world of land. Made once: it indexes all corners; a question takes a millisecond or so."""

    def __init__(self, land: Sequence[shapely.Polygon]) -> None:
        self._land = shapely.STRtree(land)
        self._pieces = np.array(list(_pieces(land)), dtype=object)
        self._shore = shapely.STRtree(self._pieces)

    def metres_inland(self, latitude: float, longitude: float) -> float:
        """Metres from the position to the nearest shore; less than 0 at sea, 0 on the line itself."""
        away = self._metres_to_shore(latitude, longitude)
        on_land = len(self._land.query(shapely.Point(longitude, latitude), predicate="intersects"))
        return away if on_land else -away

    def _metres_to_shore(self, latitude: float, longitude: float) -> float:
        reach = _NEAR
        while True:
            # An index twice does no harm: the nearest is asked for.
            found = np.concatenate([self._shore.query(box) for box in _around(latitude, longitude, reach)])
            away = _nearest(self._pieces[found], latitude, longitude) if len(found) else math.inf
            if away <= reach or reach >= _HALF_ROUND:
                return away
            reach *= 4


def _pieces(land: Sequence[shapely.Polygon]) -> Iterator[shapely.LineString]:
    """The shore as short lines, without the cuts."""
    for ring in shapely.get_rings(land):
        corners = shapely.get_coordinates(ring)
        # Between corner and next: along the meridian of 180, or round a pole.
        cut = np.zeros(len(corners), dtype=bool)
        cut[:-1] = _is_cut(corners[:-1], corners[1:])
        start = 0
        for end in [*np.flatnonzero(cut).tolist(), len(corners) - 1]:
            for first in range(start, end, _PIECE):
                yield shapely.LineString(corners[first : min(first + _PIECE, end) + 1])
            start = end + 1


def _is_cut(here: Degrees, there: Degrees) -> NDArray[np.bool_]:
    along = (np.abs(here[:, 0]) == 180) & (here[:, 0] == there[:, 0])
    pole = (np.abs(here[:, 1]) == 90) & (here[:, 1] == there[:, 1])
    return np.asarray(along | pole, dtype=bool)


def _around(latitude: float, longitude: float, reach: float) -> list[shapely.Polygon]:
    """Boxes in degrees that hold all that is within ``reach`` metres; several beside the meridian of 180."""
    angle = min(reach / _RADIUS, math.pi)
    south, north = latitude - math.degrees(angle), latitude + math.degrees(angle)
    if south <= -90 or north >= 90:
        return [shapely.box(-180, south, 180, north)]
    wide = math.degrees(math.asin(min(math.sin(angle) / math.cos(math.radians(latitude)), 1)))
    west, east = longitude - wide, longitude + wide
    boxes = [(west, east)]
    if west < -180:
        boxes.append((west + 360, east + 360))
    if east > 180:
        boxes.append((west - 360, east - 360))
    return [shapely.box(x1, south, x2, north) for x1, x2 in boxes]


def _nearest(pieces: NDArray[np.object_], latitude: float, longitude: float) -> float:
    """Metres to the nearest of ``pieces``.

    They are drawn on the plane that touches the Earth at the position and on which every distance from
    there is true (azimuthal equidistant); the corners are near enough to each other to be joined by
    straight lines on it.
    """
    corners, piece = shapely.get_coordinates(pieces, return_index=True)
    plane = _drawn(np.radians(corners), math.radians(latitude), math.radians(longitude))
    joined = piece[:-1] == piece[1:]
    here, along = plane[:-1][joined], np.diff(plane, axis=0)[joined]
    length2 = np.maximum((along**2).sum(axis=1), 1e-9)
    part = np.clip(-(here * along).sum(axis=1) / length2, 0, 1)
    nearest = here + along * part[:, None]
    return float(np.sqrt((nearest**2).sum(axis=1)).min())


def _drawn(corners: Degrees, latitude: float, longitude: float) -> Degrees:
    """``corners`` in metres east and north of the position; all in radians."""
    east, north = corners[:, 0] - longitude, corners[:, 1]
    half = np.sin((north - latitude) / 2) ** 2 + math.cos(latitude) * np.cos(north) * np.sin(east / 2) ** 2
    angle = 2 * np.arcsin(np.sqrt(np.clip(half, 0, 1)))
    x = np.cos(north) * np.sin(east)
    y = math.cos(latitude) * np.sin(north) - math.sin(latitude) * np.cos(north) * np.cos(east)
    # sin(angle) is the length of (x, y); at the position itself both are 0.
    length = np.sqrt(x**2 + y**2)
    scale = _RADIUS * np.divide(angle, length, out=np.ones_like(angle), where=length > 1e-12)
    return np.column_stack([x * scale, y * scale])
