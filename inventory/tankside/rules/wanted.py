"""The range that is wanted for a quantity, and whether a value lies inside it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from .readings import exactly, quantity_of, said


@dataclass(frozen=True, slots=True)
class Wanted:
    """A range in the unit in which it was set; a bound that is None is open."""

    quantity: str
    unit: str
    low: Decimal | None
    high: Decimal | None
    since: date

    @property
    def words(self) -> str:
        """ "8 to 11 °C", "at least 30", "at most 12 °C", or "no range"."""
        if self.low is not None and self.high is not None:
            return f"{said(self.low, '')} to {said(self.high, self.unit)}"
        if self.low is not None:
            return f"at least {said(self.low, self.unit)}"
        if self.high is not None:
            return f"at most {said(self.high, self.unit)}"
        return "no range"

    @property
    def bounds(self) -> tuple[Decimal | None, Decimal | None]:
        """Low and high in the scale's own unit."""
        low, high = (
            bound if bound is None else exactly(self.quantity, bound, self.unit)
            for bound in (self.low, self.high)
        )
        return low, high


def outside(value: Decimal, unit: str, wanted: Wanted | None) -> str:
    """ "above 8 to 11 °C" for a value in its scale's own unit that lies outside; else nothing.

    A range of another scale says nothing about it.
    """
    if wanted is None:
        return ""
    measured = quantity_of(wanted.quantity)
    if measured.unit(unit).scale != measured.unit(wanted.unit).scale:
        return ""
    low, high = wanted.bounds
    if low is not None and value < low:
        return f"below {wanted.words}"
    if high is not None and value > high:
        return f"above {wanted.words}"
    return ""


@dataclass(frozen=True, slots=True)
class WantedRanges:
    """All ranges of some places, oldest first, with the way up the tree of places."""

    ranges: Mapping[tuple[int, str], Sequence[Wanted]] = field(default_factory=dict)
    parents: Mapping[int, int | None] = field(default_factory=dict)

    def at(self, place: int, quantity: str, day: date) -> Wanted | None:
        """The range that held on a day: the place's own, else that of the nearest place above."""
        seen: set[int] = set()
        above: int | None = place
        while above is not None and above not in seen:
            held = [one for one in self.ranges.get((above, quantity), ()) if one.since <= day]
            if held:
                return held[-1] if held[-1].low is not None or held[-1].high is not None else None
            seen.add(above)
            above = self.parents.get(above)
        return None
