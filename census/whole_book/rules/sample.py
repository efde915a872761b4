"""An inspector's sample, both ways: ten lines to find on the floor, ten animals to find on the list.

Ten and ten are *common practice, no source*; how a draw is made and what is right are the census's own rules.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from census.rounds.rules.drawing import drawn, drawn_again
from census.rounds.rules.sampling import FLOOR_TO_LIST

LIST_TO_FLOOR = "list to floor"
EACH_WAY = 10

__all__ = ["EACH_WAY", "FLOOR_TO_LIST", "LIST_TO_FLOOR", "Drawn", "draw_both_ways", "fingerprint"]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Names of what was drawn, in the order drawn. A place may be drawn more than once."""

    lines: tuple[str, ...]
    places: tuple[str, ...]


def draw_both_ways(seed: str, lines: Mapping[str, str], *, n: int = EACH_WAY) -> Drawn:
    """Draws ``n`` of the lines, each at most once, and ``n`` times a place. ``lines``: name to its place."""
    return Drawn(
        tuple(drawn(f"{seed}/list", lines, n)),
        tuple(drawn_again(f"{seed}/floor", set(lines.values()), n)),
    )


def fingerprint(lines: Mapping[str, str]) -> str:
    """SHA-256 of the list, so that a draw can be repeated from the same one."""
    return hashlib.sha256("\n".join(sorted(lines)).encode()).hexdigest()
