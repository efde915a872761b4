"""What is used of a permit and what is left: arithmetic on plain rows.

Counted against a limit is what was kept and what died before it reached the stock; what was let go alive
only where the permit says so. A take in another unit than the limit's is shown and not counted.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from inventory.book.rules.words import count_of

PERMIT = "permit"
YEAR = "year"
TRIP = "trip"
HELD = "held"


@dataclass(frozen=True, slots=True)
class Limit:
    """One line as it counts. ``since``: the first day of the run that it is counted over."""

    number: int
    limit: int | None
    per: str
    unit: str
    counts_let_go: bool
    since: date


@dataclass(frozen=True, slots=True)
class Taken:
    """One take as it counts. ``trip`` names the trip, ``day`` is its last day."""

    line: int | None
    trip: int
    day: date
    unit: str
    caught: int
    let_go: int
    died: int
    kept: int


@dataclass(slots=True)
class Used:
    """Numbers of one line, in its unit.

    ``used`` is what stands against the limit: of the whole run, of the year, of the trip with most, or
    of what is held. ``left`` and ``over`` are none where there is no limit; for a limit on each trip
    ``left`` is what the next trip may take. ``other_units`` are caught in units that are not counted.
    """

    caught: int = 0
    let_go: int = 0
    died: int = 0
    kept: int = 0
    counted: int = 0
    used: int = 0
    left: int | None = None
    over: int | None = None
    trip: int | None = None
    other_units: dict[str, int] = field(default_factory=dict)


def counted(take: Taken, *, counts_let_go: bool) -> int:
    """How many of a take stand against a limit."""
    return take.kept + take.died + (take.let_go if counts_let_go else 0)


def used_of(limit: Limit, takes: Sequence[Taken], *, as_of: date, held: int | None = None) -> Used:
    """The numbers of one line out of its takes up to ``as_of``.

    ``held`` is what the house holds of it now, for a limit on that; none: not told.
    """
    used = Used()
    by_trip: defaultdict[int, int] = defaultdict(int)
    this_year = 0
    for take in takes:
        if not limit.since <= take.day <= as_of:
            continue
        if take.unit != limit.unit:
            used.other_units[take.unit] = used.other_units.get(take.unit, 0) + take.caught
            continue
        n = counted(take, counts_let_go=limit.counts_let_go)
        used.caught += take.caught
        used.let_go += take.let_go
        used.died += take.died
        used.kept += take.kept
        used.counted += n
        by_trip[take.trip] += n
        this_year += n if take.day.year == as_of.year else 0
    if limit.per == TRIP and by_trip:
        # Of trips with the same number the later one.
        used.trip = max(by_trip, key=lambda trip: (by_trip[trip], trip))
    most = by_trip[used.trip] if used.trip is not None else 0
    used.used = {PERMIT: used.counted, YEAR: this_year, TRIP: most, HELD: held or 0}[limit.per]
    if limit.limit is not None and not (limit.per == HELD and held is None):
        used.left = limit.limit - (0 if limit.per == TRIP else used.used)
        used.over = max(0, used.used - limit.limit)
    return used


def by_line(takes: Iterable[Taken]) -> dict[int | None, list[Taken]]:
    """Takes by the line that covers them."""
    lines: defaultdict[int | None, list[Taken]] = defaultdict(list)
    for take in takes:
        lines[take.line].append(take)
    return dict(lines)


_PER_WORDS = {PERMIT: "", YEAR: " a year", TRIP: " a trip", HELD: " held at once"}


def limit_words(limit: int | None, per: str, unit: str) -> str:
    """ "40", "50 a trip", "3 pieces"; "no limit"."""
    if limit is None:
        return "no limit"
    number = f"{limit:,}" if unit == "animal" else count_of(limit, unit)
    return f"{number}{_PER_WORDS[per]}"
