"""What stands in the annex of a print, under the number of a line."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Entry:
    """One flow, or one take of a permit. ``n`` counts towards what the line says, with its sign.

    ``event`` is the number of the event in the book; of a take that nothing was kept of there is none.
    """

    event: str
    happened: str
    kind: str
    lot: str
    way: str
    column: str
    n: int
    entered: str
    order: tuple[object, ...] = ()


Annex = Mapping[tuple[object, ...], Sequence[Entry]]
