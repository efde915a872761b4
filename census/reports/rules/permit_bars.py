"""What stands against each limit of a permit: kept, died and let go apart, as a chart draws it."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from inventory.permits.rules.accounts import HELD, TRIP, YEAR, Limit, Taken, Used


@dataclass(frozen=True, slots=True)
class Bar:
    """One line with a limit. ``used`` of ``limit`` stands against it; ``let_go`` is beside that, unless
    ``counts_let_go``. ``held``: it limits what is here at once, however it came, so that nothing is apart.

    ``words`` are the permit's own, ``said`` the limit as the table has it: "50 a trip".
    """

    words: str
    said: str
    limit: int
    used: int
    kept: int
    died: int
    let_go: int
    counts_let_go: bool = False
    held: bool = False

    @property
    def parts(self) -> Sequence[tuple[str, int]]:
        """What is drawn, in order: what counts against the limit first, so that the limit can be read."""
        if self.held:
            return (("held", self.used),)
        return (("kept", self.kept), ("died", self.died), ("let go", self.let_go))

    @property
    def over(self) -> int:
        return max(0, self.used - self.limit)

    @property
    def told(self) -> str:
        """ "52 of 50 a trip, over by 2"."""
        return f"{self.used:,} of {self.said}{f', over by {self.over:,}' if self.over else ''}"


@dataclass(frozen=True, slots=True)
class Bars:
    """The bars of one permit. ``key`` tells its drawing from others; ``without`` counts lines that state no
    limit, which have no bar."""

    key: str
    title: str
    bars: Sequence[Bar]
    without: int = 0

    @property
    def words(self) -> str:
        over = [f"{one.words}: {one.told}" for one in self.bars if one.over]
        words = f"Over the limit: {'; '.join(over)}." if over else "No line is over its limit."
        if self.without:
            lines = "1 line states" if self.without == 1 else f"{self.without} lines state"
            words += f" {lines} no limit, and stand in the table alone."
        return words


def bar_of(
    words: str, said: str, *, limit: Limit, used: Used, takes: Iterable[Taken], as_of: date
) -> Bar | None:
    """The bar of one line; none where it has no limit. The parts are of the takes that stand against the
    limit: of the whole run, of the year, or of the trip with most."""
    if limit.limit is None:
        return None
    mine = [
        take
        for take in takes
        if take.unit == limit.unit
        and limit.since <= take.day <= as_of
        and (limit.per != YEAR or take.day.year == as_of.year)
        and (limit.per != TRIP or take.trip == used.trip)
    ]
    return Bar(
        words,
        said,
        limit.limit,
        used.used,
        kept=sum(take.kept for take in mine),
        died=sum(take.died for take in mine),
        let_go=sum(take.let_go for take in mine),
        counts_let_go=limit.counts_let_go,
        held=limit.per == HELD,
    )
