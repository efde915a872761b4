"""What is known of a line and of the house, as the rules see it: plain values, no database."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from .causes import History


@dataclass(frozen=True, slots=True)
class Passage:
    """A flow of a line's lot as evidence: ``n`` with the sign of its effect on the line's place.

    ``unfounded``: an adjustment or a correction with neither reason nor approval.
    """

    lot: int
    kind: str
    n: int
    happened_at: datetime
    entered_at: datetime
    entered_by: str
    words: str
    event: str = ""
    other_place: str = ""
    unfounded: bool = False


@dataclass(frozen=True, slots=True)
class Absent:
    """An individual that the roll-call did not see. ``note``: what the veterinarian wrote of it, and
    the place and day of the note; ``last_seen``: the last day on which a keeper entered anything of it."""

    accession: str
    name: str
    last_seen: date | None = None
    note: str = ""
    note_place: str = ""
    note_day: date | None = None


@dataclass(frozen=True, slots=True)
class Stranger:
    """An individual of the same kind that left the line's place, and may be the one that was seen."""

    accession: str
    name: str
    words: str


@dataclass(frozen=True, slots=True)
class Line:
    """One line with its count. ``key``: "CS-26Q3-07 line 5".

    ``confirmed``: two counts agree. ``times``: how often it was counted; ``last``: no further count is made
    in this census. ``tolerance``: that of its row, in its unit; ``inside``: the row lies
    inside it and nothing has to be done. ``low`` and ``high``: range of the count's passes. ``count``
    is ``None`` where a letter was written. ``joined``: the key of its joined set.
    """

    key: str
    place: str
    taxon: str
    unit: str
    book: int
    count: int | None
    count_class: str = "B"
    at_least: bool = False
    low: int | None = None
    high: int | None = None
    tolerance: int = 0
    inside: bool = False
    confirmed: bool = False
    times: int = 1
    last: bool = False
    family: str = ""
    look_alike_set: str = ""
    can_divide: bool = False
    can_change_sex: bool = False
    counts_in_from: str = ""
    joined: str = ""
    written_in: bool = False
    letter: str = ""
    individuals: bool = False
    off_site: bool = False
    open_water: bool = False
    windows: int = 1
    open: bool = True
    permit_or_loan: bool = False
    protected: str = ""
    introduced: str = ""
    may_be: Sequence[str] = field(default_factory=tuple)
    lots: Sequence[str] = field(default_factory=tuple)
    not_seen: Sequence[Absent] = field(default_factory=tuple)
    strangers: Sequence[Stranger] = field(default_factory=tuple)
    counted_sexes: tuple[int, int, int, int] | None = None
    book_sexes: tuple[int, int, int, int] | None = None
    sources: str = ""
    remark: str = ""
    moment: datetime | None = None
    typed_at: datetime | None = None
    passages: Sequence[Passage] = field(default_factory=tuple)
    drift: str = ""
    party: str = ""
    count_id: int = 0

    @property
    def difference(self) -> int:
        return (self.count or 0) - self.book if self.count is not None else 0


@dataclass(frozen=True, slots=True)
class Uncounted:
    """A place that nobody has counted yet in this census, and what the book has there by taxon."""

    place: str
    hospital: bool
    held: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class HouseFacts:
    """``routes``: how often animals were moved from one place to another in two years.

    ``keepers``: who looks after each place. ``hunters``: kinds held in a place that hunt others there.
    ``ways_out``: open drains and the like that somebody noted in the period, in words.
    ``now``: the day of asking, for slips that are still to come. ``starts`` and ``last``: first and last
    moment of the period; what a later count brings to light belongs to the period that is counted.
    """

    history: History = field(default_factory=History)
    routes: Mapping[tuple[str, str], int] = field(default_factory=dict)
    keepers: Mapping[str, frozenset[str]] = field(default_factory=dict)
    hunters: Mapping[str, Sequence[str]] = field(default_factory=dict)
    ways_out: Mapping[str, Sequence[str]] = field(default_factory=dict)
    uncounted: Sequence[Uncounted] = field(default_factory=tuple)
    now: datetime | None = None
    starts: datetime | None = None
    last: datetime | None = None
    double_minutes: int = 10
    notice_days: int = 7
    young_days: int = 30
    search_days: int = 14

    def span(self, since: datetime | None, until: datetime | None) -> tuple[datetime | None, datetime | None]:
        """From when to when something may have happened, inside the period."""
        moments = [moment for moment in (until, self.last) if moment]
        until = min(moments, default=None)
        since = since or self.starts
        return (since if since and until and since < until else None), until
