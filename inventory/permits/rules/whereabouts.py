"""What can have become of animals that were kept, and how a range of them is written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from inventory.book.rules.ends import CellEnd
from inventory.book.rules.kinds import EventKind

from .shares_steps import Bounds


class Fate(NamedTuple):
    """One column: its code in files, its heading on pages."""

    code: str
    words: str


HERE = Fate("alive_here", "alive here")
ON_LOAN = Fate("alive_on_loan", "alive on loan")
MISSING = Fate("missing", "missing")
GIVEN_BACK = Fate("given_back", "given back")
_OUTSIDE = {
    EventKind.DIED.value: Fate("died", "died"),
    EventKind.PUT_DOWN.value: Fate("put_down", "put down"),
    EventKind.UNACCOUNTED.value: Fate("unaccounted", "unaccounted for"),
    EventKind.RELEASED.value: Fate("released", "released"),
    EventKind.SENT.value: Fate("sent", "sent on"),
    # Of animals of the wild only in a pool with borrowed ones.
    EventKind.GIVEN_BACK.value: GIVEN_BACK,
}
ALIVE = (HERE, ON_LOAN)
FATES: Sequence[Fate] = (*ALIVE, MISSING, *_OUTSIDE.values())


def fate_of(end: CellEnd) -> Fate:
    """What has become of the animals of a cell that do not leave it any more."""
    if end.place_id is None:
        return _OUTSIDE[end.cause]
    if end.missing:
        return MISSING
    return ON_LOAN if end.off_site else HERE


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """Of ``kept`` animals that entered the stock by one line (None: no slip says which): where they are.

    ``alive`` are those of which the book knows where they live, here and on loan together; the missing
    are not among them. Unless ``hidden``, when nothing is told, ``by_fate`` has every fate.
    """

    line: int | None
    unit: str
    kept: int
    alive: Bounds
    by_fate: Mapping[Fate, Bounds]
    hidden: bool = False

    @property
    def uncertain(self) -> bool:
        """Some of them stand, or stood, in a pool with others."""
        return any(not bounds.sure for bounds in self.by_fate.values())

    def texts(self, fates: Sequence[Fate] = FATES) -> list[tuple[str, bool]]:
        """What stands in each column, and whether it is a range."""
        numbers = [self.by_fate[fate] for fate in fates] if not self.hidden else []
        return [(in_words(bounds), not bounds.sure) for bounds in numbers]

    @property
    def alive_words(self) -> str:
        """How many are alive, here and on loan together."""
        return "" if self.hidden else in_words(self.alive)


def in_words(bounds: Bounds) -> str:
    """ "27", or "7 to 20 (13.5)": least, most, and the even share to one decimal where there is one."""
    if bounds.sure:
        return str(bounds.least)
    even = "" if bounds.even is None else f" ({bounds.even:.1f})"
    return f"{bounds.least} to {bounds.most}{even}"
