"""What of a quarter's change can be foreseen, and how what came is made comparable."""

import hashlib
import json
from collections.abc import Mapping, Sequence

from census.change.rules.columns import SIGNS

from .course import BIRTHS
from .forecast import Quarter

BORN = (*BIRTHS, "found")
DIED = ("died", "unaccounted")
DECIDED = tuple(column for column in SIGNS if column not in (*BORN, *DIED, "opening", "late"))
"""What people decide: bought, sent, lent, put down, moved; not foreseen."""


def quarter_from(opening: int, flows: Mapping[str, int]) -> Quarter:
    """A quarter as the forecast reads it; what was taken back more than it came counts as none."""
    born, died = (sum(flows.get(column, 0) for column in columns) for columns in (BORN, DIED))
    return Quarter(max(opening, 0), max(born, 0), max(died, 0))


def decided(flows: Mapping[str, int]) -> int:
    """The net of what people brought in and sent away."""
    return sum(SIGNS[column] * flows.get(column, 0) for column in DECIDED)


def inputs_of(opening: int, history: Sequence[Quarter]) -> dict[str, object]:
    """What a range is made from, to be kept with it."""
    return {"opening": opening, "quarters": [[one.opening, one.born, one.died] for one in history]}


def fingerprint(inputs: Mapping[str, object]) -> str:
    """SHA-256 of the inputs, in one way of writing them."""
    return hashlib.sha256(json.dumps(inputs, sort_keys=True, separators=(",", ":")).encode()).hexdigest()
