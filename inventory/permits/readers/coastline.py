"""The coastline as it lies in ``fixtures/coastline``; what it is and how it was made stands beside it."""

import gzip
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from ..rules.shore import Shore

if TYPE_CHECKING:
    from ..rules.coast import Coast

FILE = Path(__file__).resolve().parents[3] / "fixtures" / "coastline" / "land.geojson.gz"


@cache
def coastline() -> "Coast":
    """The land of the world; read once in the life of a process, when first asked: half a second."""
    # Not at the top: most processes never ask, and the two bring the arrays with them.
    import shapely

    from ..rules.coast import Coast

    with gzip.open(FILE, "rt", encoding="utf-8") as file:
        return Coast(shapely.get_parts(shapely.from_geojson(file.read())))


def shore_of(latitude: float, longitude: float) -> Shore:
    """How far from the shore a position lies, as written and with the two turned round."""
    coast = coastline()
    turned = coast.metres_inland(longitude, latitude) if abs(longitude) <= 90 else None
    return Shore(coast.metres_inland(latitude, longitude), turned)
