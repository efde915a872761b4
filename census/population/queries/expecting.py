"""The next quarter's range of each taxon, and how the ranges that were written down fared."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta, tzinfo

from census.estimators.rules.estimate import CannotEstimate, Estimate

from ..models import Expectation
from ..rules.asked import Asked
from ..rules.forecast import Expected, coverage, expected_closing
from ..rules.foreseen import decided, fingerprint, inputs_of, quarter_from
from ..rules.spans import Span, next_quarter, quarters_until
from .reading import Names, Split, read_course

QUARTERS = 8
"""History that is looked at: two years."""


@dataclass(frozen=True, slots=True)
class Foreseen:
    """One taxon in the quarter to come; ``why_not`` says why there is no range."""

    taxon_id: int
    opening: int
    expected: Expected | None
    why_not: str
    inputs: dict[str, object]
    kept: Expectation | None = None

    @property
    def fingerprint(self) -> str:
        return fingerprint(self.inputs)


@dataclass(frozen=True, slots=True)
class Outlooks:
    """The ranges for ``quarter``, from the quarters ``history``."""

    quarter: Span
    history: list[Span]
    rows: list[Foreseen]
    names: Names


def foreseen(
    first_day: date, *, zone: tzinfo, known_at: datetime | None = None, asked: Asked | None = None
) -> Outlooks:
    """The ranges for the quarter that begins on ``first_day``. Eight queries."""
    history = quarters_until(first_day - timedelta(days=1), QUARTERS)
    quarter = next_quarter(history[-1])
    question = Asked(
        history[0].first,
        history[-1].last,
        history[-1].last,
        taxon=asked.taxon if asked else None,
        family=asked.family if asked else "",
        known_at=known_at,
    )
    course = read_course(question, Split.TAXON, zone=zone)
    kept = {
        one.taxon_id: one for one in reversed(Expectation.objects.filter(quarter_starts_on=quarter.first))
    }
    rows = []
    for key, row in course.in_order():
        quarters = [quarter_from(row.opened(span), row.flows(span)) for span in history]
        # Before the first animal a quarter says nothing.
        while quarters and not (quarters[0].opening or quarters[0].born or quarters[0].died):
            quarters.pop(0)
        opening = row.closed(history[-1])
        if not opening and not quarters:
            continue
        expected, why = None, ""
        try:
            expected = expected_closing(opening, quarters)
        except CannotEstimate as error:
            why = str(error)
        inputs = inputs_of(opening, quarters)
        rows.append(Foreseen(key.taxon_id, opening, expected, why, inputs, kept.get(key.taxon_id)))
    return Outlooks(quarter, history, rows, course.names)


@dataclass(frozen=True, slots=True)
class Score:
    """A range that was written down, and what came: the closing less what people brought or sent."""

    expectation: Expectation
    closing: int
    came: int

    @property
    def inside(self) -> bool:
        return self.expectation.low <= self.came <= self.expectation.high


@dataclass(frozen=True, slots=True)
class Scores:
    """All ranges whose quarter is over, newest first, and the share that held."""

    rows: list[Score]
    covered: Estimate | None


def scores(
    today: date, *, zone: tzinfo, asked: Asked | None = None, known_at: datetime | None = None
) -> Scores:
    """The first range of each taxon and quarter is scored. Eight queries, however many ranges."""
    kept = (
        Expectation.objects.select_related("taxon")
        .filter(quarter_ends_on__lt=today, made_at__date__lte=today)
        .order_by("-quarter_starts_on", "made_at", "id")
    )
    if asked is not None and asked.taxon is not None:
        kept = kept.filter(taxon_id=asked.taxon)
    if asked is not None and asked.family:
        kept = kept.filter(taxon__family=asked.family)
    first: dict[tuple[int, date], Expectation] = {}
    for one in kept:
        first.setdefault((one.taxon_id, one.quarter_starts_on), one)
    if not first:
        return Scores([], None)
    starts = [one.quarter_starts_on for one in first.values()]
    ends = [one.quarter_ends_on for one in first.values()]
    question = Asked(min(starts), max(ends), today, known_at=known_at)
    course = {key.taxon_id: row for key, row in read_course(question, Split.TAXON, zone=zone).rows.items()}
    rows = []
    for (taxon, start), one in first.items():
        row = course.get(taxon)
        span = Span(start, one.quarter_ends_on, "")
        closing = row.closed(span) if row else 0
        rows.append(Score(one, closing, closing - (decided(row.flows(span)) if row else 0)))
    ranges = [Expected(one.expectation.low, one.expectation.middle, one.expectation.high) for one in rows]
    return Scores(rows, coverage(ranges, [one.came for one in rows]))
