"""A field slip as a device states it: a trip, and what was caught on it by name. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID, uuid5

# A take that came without an identifier has one by its place on the slip: the same slip, the same takes.
_TAKES_OF_SLIPS = UUID("5b1c7a36-52f1-5c0f-9a0a-3d3b0e0d6c11")


@dataclass(frozen=True, slots=True)
class StatedTake:
    """One line of a slip. ``place``: the tank of those kept, if not that of the slip."""

    name: str
    caught: int
    let_go: int = 0
    died: int = 0
    kept: int = 0
    bycatch: bool = False
    unit: str = ""
    sex: str = ""
    size_mm: int | None = None
    berried: bool | None = None
    place: str = ""
    remarks: str = ""


@dataclass(frozen=True, slots=True)
class StatedSlip:
    """The trip. ``people`` are numbers of persons; ``others`` are names that the house does not know."""

    permit: str
    people: Sequence[int] = ()
    others: str = ""
    locality: str = ""
    latitude: Decimal | None = None
    longitude: Decimal | None = None
    datum: str = "WGS84"
    uncertainty_m: int | None = None
    position_from: str = ""
    depth_from_m: Decimal | None = None
    depth_to_m: Decimal | None = None
    gear: str = ""
    vessel: str = ""
    takes: Sequence[StatedTake] = ()


def take_identifier(slip: UUID, index: int) -> UUID:
    """The identifier of the take at ``index`` of a slip."""
    return uuid5(_TAKES_OF_SLIPS, f"{slip} {index}")


def note_of(slip: StatedSlip, note: str) -> str:
    """What the trip keeps in its note: what was written, and what has no field of its own."""
    parts = [
        note,
        f"Also on the trip: {slip.others}." if slip.others else "",
        "Position by the device." if slip.position_from == "device" and slip.latitude is not None else "",
    ]
    return "\n".join(part for part in parts if part)


def slip_words(slip: StatedSlip, day: str) -> str:
    """ "field slip, P1, off the point, 3 October: 12 caught, 4 let go, 1 died, 7 kept"."""
    head = ", ".join(part for part in ("field slip", slip.permit, slip.locality, day) if part)
    if not slip.takes:
        return f"{head}: nothing caught"
    sums = [
        (sum(take.caught for take in slip.takes), "caught"),
        (sum(take.let_go for take in slip.takes), "let go"),
        (sum(take.died for take in slip.takes), "died"),
        (sum(take.kept for take in slip.takes), "kept"),
    ]
    return f"{head}: " + ", ".join(f"{n} {said}" for n, said in sums if n or said == "caught")
