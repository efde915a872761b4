"""Whether a position can lie in the waters of which a permit speaks.

Animals are taken on the shore, in harbours and in estuaries, and no coastline is right to the metre: told
is only a position that lies farther on the wrong side than the coastline errs and than the position is
uncertain by.
"""

from dataclasses import dataclass
from enum import StrEnum

# What the coastline in use errs by, with what it leaves out: harbours, lagoons, mouths of rivers. Of 5,146
# places drawn from the shore of a far finer coastline (GSHHG, full resolution, between the polar
# circles) it leaves 1 of 74 more than 5 km on land, 1 of 214 more than 10 km, 1 of 396 more than 15 km; of
# the land itself 4 % lies within 10 km of the shore. The next step would miss more than it spares.
COAST_ERRS_M = 10_000


class Waters(StrEnum):
    """Where the permit lets animals be taken."""

    SEA = "sea"
    INLAND = "inland"
    BOTH = "both"


@dataclass(frozen=True, slots=True)
class Shore:
    """How far from the shore a position lies, in metres: more than 0 on land, less at sea.

    ``swapped`` is the same of the pair turned round; None where that is no position.
    """

    inland_m: float
    swapped_m: float | None = None


def wrong_side(shore: Shore, waters: str, *, uncertainty_m: int, permit: str) -> str:
    """What is doubtful of a position, as the rest of a sentence; nothing when it can be."""
    allowed = COAST_ERRS_M + uncertainty_m
    swapped = shore.swapped_m or 0.0
    if waters == Waters.SEA and shore.inland_m > allowed:
        turned = swapped < 0
        where, of, hint = "inland", "the sea", "at sea"
        other = "lakes and rivers"
    elif waters == Waters.INLAND and -shore.inland_m > allowed:
        turned = swapped > 0
        where, of, hint = "out at sea", "lakes and rivers", "on land"
        other = "the sea"
    else:
        return ""
    said = f"lies {abs(shore.inland_m) / 1000:.0f} km {where}, and {permit} is for {of}"
    if turned:
        return f"{said}: are the two swapped? Then they lie {hint}"
    return f"{said}: correct the position, or amend the waters of the permit if it is for {other} too"
