"""What the census of a period found in each place, beside the book as it was before settling."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from census.rounds.models import Census, Count
from census.rounds.queries.reading import LineRead, read_census
from census.rounds.rules.words import CensusState, How, LineKind

# Place, taxon, unit.
Where = tuple[int, int, str]


@dataclass(slots=True)
class Counted:
    """The lines of one taxon in one place, added up.

    ``value`` is None unless every line was counted. ``difference`` is count minus book before anything was
    settled. ``low`` and ``high``: plain sums of the limits, the number itself where a count has none.
    """

    lines: int = 0
    counted: int = 0
    value: int = 0
    low: int = 0
    high: int = 0
    difference: int = 0
    estimate: bool = False
    minimum: bool = False
    reasons: list[str] = field(default_factory=list)

    @property
    def whole(self) -> bool:
        return self.lines == self.counted

    @property
    def says(self) -> str:
        """Count status: exact, an estimate with its range, a minimum, or not counted."""
        if not self.counted:
            return "not counted"
        words = "exact"
        if self.estimate:
            words = f"about, {self.low} to {self.high}" if self.low < self.high else "about"
        if self.minimum:
            words = "at least" if words == "exact" else f"{words}, at least"
        return words if self.whole else f"{words}; {self.counted} of {self.lines} lines counted"

    def add(self, other: "Counted") -> None:
        """Adds other lines of the same unit: one estimate makes the sum an estimate."""
        self.lines += other.lines
        self.counted += other.counted
        self.value += other.value
        self.low += other.low
        self.high += other.high
        self.difference += other.difference
        self.estimate = self.estimate or other.estimate
        self.minimum = self.minimum or other.minimum


@dataclass(slots=True)
class PlaceCount:
    """What a place's block says over its rows."""

    sheets: set[str] = field(default_factory=set)
    counters: dict[str, None] = field(default_factory=dict)
    first: datetime | None = None
    last: datetime | None = None
    letters: dict[str, str] = field(default_factory=dict)
    letters_before: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class CensusFound:
    """The census of a period; ``code`` is empty when the period has none.

    ``written``: what was written in and has no taxon yet, under a number below zero in place of a taxon's.
    """

    code: str
    lines: dict[Where, Counted]
    places: dict[int, PlaceCount]
    written: dict[int, str]


def census_found(first_day: date, last_day: date) -> CensusFound:
    """The census of the period of these days, not the abandoned ones. A constant number of queries."""
    census = (
        Census.objects.exclude(state=CensusState.ABANDONED.value)
        .filter(period__starts_on=first_day, period__ends_on=last_day)
        .first()
    )
    if census is None:
        return CensusFound("", {}, {}, {})
    lines: defaultdict[Where, Counted] = defaultdict(Counted)
    places: defaultdict[int, PlaceCount] = defaultdict(PlaceCount)
    written: dict[int, str] = {}
    for row in read_census(census):
        for part in row.parts:
            _note(places[part.line.place_id], part)
            if part.line.kind == LineKind.PRESENCE:
                continue
            taxon_id = part.line.taxon_id or -part.line.pk
            if taxon_id < 0:
                written[taxon_id] = part.line.written_name
            one = lines[part.line.place_id, taxon_id, part.line.unit]
            one.add(_counted(part))
            reason = _reason(part)
            if reason:
                one.reasons.append(reason)
    _letters(census, places)
    return CensusFound(census.code, dict(lines), dict(places), written)


def _counted(part: LineRead) -> Counted:
    count = part.latest
    if count is None or count.value is None:
        return Counted(lines=1)
    low = count.value if count.low is None else count.low
    high = count.value if count.high is None else count.high
    settled = sum(decision.n for decision in part.decisions)
    return Counted(
        lines=1,
        counted=1,
        value=count.value,
        low=low,
        high=high,
        difference=count.value - (part.present(count.round) - settled),
        estimate=part.line.count_class == "C" or low < high,
        minimum=count.at_least,
    )


def _reason(part: LineRead) -> str:
    if not part.decisions:
        return ""
    newest = part.decisions[-1]
    return ": ".join(word for word in (How(newest.how).words, newest.reason) if word)


def _note(place: PlaceCount, part: LineRead) -> None:
    place.sheets.add(part.line.sheet.number)
    for _, count in sorted(part.counts.items()):
        place.counters[count.counter.name if count.counter else count.party] = None
        if place.first is None or count.counted_at < place.first:
            place.first = count.counted_at
        if place.last is None or count.counted_at > place.last:
            place.last = count.counted_at


def _letters(census: Census, places: defaultdict[int, PlaceCount]) -> None:
    """Letters of this census and of the one before it. Two queries."""
    before = (
        Census.objects.exclude(state=CensusState.ABANDONED.value)
        .filter(cutoff__lt=census.cutoff)
        .order_by("-cutoff")
        .first()
    )
    found: Sequence[Count] = list(
        Count.objects.exclude(letter="")
        .filter(line__sheet__census__in=[one.pk for one in (census, before) if one], replaced_by__isnull=True)
        .select_related("line__taxon", "line__sheet")
        .order_by("round", "id")
    )
    for count in found:
        name = count.line.taxon.scientific_name if count.line.taxon else count.line.written_name
        place = places[count.line.place_id]
        letters = place.letters if count.line.sheet.census_id == census.pk else place.letters_before
        letters[name] = count.letter
