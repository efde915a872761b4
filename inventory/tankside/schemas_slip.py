"""A field slip as the interface takes it: each field with its meaning. Parsing only."""

from decimal import Decimal
from typing import Annotated, Literal

from ninja import Schema
from pydantic import ConfigDict, Field

from .rules.slips import StatedSlip, StatedTake
from .schemas_text import MOST_ANIMALS, RowNumber, Text

MOST_NAMES = 100
Number = Annotated[int, Field(ge=0, le=MOST_ANIMALS)]
Degrees = Annotated[Decimal, Field(ge=-999, le=999)]
Depth = Annotated[Decimal, Field(ge=0, le=12_000)]


class TakeIn(Schema):
    """What was caught of one name. Caught is let go + died + kept."""

    model_config = ConfigDict(extra="forbid")

    name: Text = Field(
        min_length=1, max_length=200, description="As it was written in the field; kept as it is."
    )
    caught: Number = Field(description="How many were caught.")
    let_go: Number = Field(0, description="Let go alive.")
    died: Number = Field(0, description="Died before they reached the house: they never enter the stock.")
    kept: Number = Field(0, description="Brought home alive.")
    bycatch: bool = Field(False, description="Not what was looked for.")
    unit: Text = Field("", max_length=40, description="What is counted, if not animals: colony, piece.")
    sex: Literal["", "male", "female", "hermaphrodite", "unknown"] = Field(
        "", description="Sex, if all are of one."
    )
    size_mm: int | None = Field(None, ge=1, le=30_000, description="Size in millimetres.")
    berried: bool | None = Field(None, description="Carries eggs; left out: nobody looked.")
    place: Text = Field("", max_length=20, description="Tank of those kept, if not that of the slip.")
    remarks: Text = Field("", max_length=500, description="What else there is to say.")

    def stated(self) -> StatedTake:
        """As a plain value."""
        return StatedTake(**self.model_dump())


class SlipIn(Schema):
    """A collecting trip: under which permit, who, where, with what, and what was caught.

    Nothing is refused because the permit does not allow it: it was done, is kept, and becomes a case.
    """

    model_config = ConfigDict(extra="forbid")

    permit: Text = Field(min_length=1, max_length=60, description="Number of the permit.")
    people: list[RowNumber] = Field(
        default=[], max_length=60, description="Numbers of persons, from the lists."
    )
    others: Text = Field("", max_length=200, description="Names of others who were there.")
    locality: Text = Field("", max_length=200, description="The place in words.")
    latitude: Degrees | None = Field(None, description="Decimal degrees, south with a minus.")
    longitude: Degrees | None = Field(None, description="Decimal degrees, west with a minus.")
    datum: Text = Field("WGS84", max_length=40, description="Geodetic datum; a device's position is WGS84.")
    uncertainty_m: int | None = Field(
        None, ge=0, le=10_000_000, description="Radius in metres in which the true position lies."
    )
    position_from: Literal["", "device", "typed"] = Field("", description="Where the position comes from.")
    depth_from_m: Depth | None = Field(None, description="Depth in metres, from.")
    depth_to_m: Depth | None = Field(None, description="Depth in metres, to.")
    gear: Text = Field("", max_length=120, description="Gear; several with commas.")
    vessel: Text = Field("", max_length=80, description="The boat.")
    takes: list[TakeIn] = Field(
        default=[], max_length=MOST_NAMES, description="One for each name; none: nothing was caught."
    )

    def stated(self) -> StatedSlip:
        """As a plain value; degrees to the sixth place, depths to the first, as they are kept."""
        said = self.model_dump(exclude={"takes"})
        for name in ("latitude", "longitude"):
            said[name] = _rounded(said[name], "0.000001")
        for name in ("depth_from_m", "depth_to_m"):
            said[name] = _rounded(said[name], "0.1")
        return StatedSlip(**said, takes=tuple(take.stated() for take in self.takes))


def _rounded(value: Decimal | None, to: str) -> Decimal | None:
    return None if value is None else value.quantize(Decimal(to))
