"""What the charts of a census draw: plain figures, and how they are laid out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from census.estimators.rules.rates import garwood
from inventory.book.rules.days import month_in_words
from inventory.book.rules.words import signed, whole

from .accuracy import TARGETS
from .settings import DEFAULTS, CensusSettings
from .tolerance import tolerance

LEFT, RIGHT, TOP = 42.0, 330.0, 22.0
# Up to so many animals no share is told: the tolerance of class B is in animals up to there too.
FEW = DEFAULTS.tolerance_b_small_limit


@dataclass(frozen=True, slots=True)
class FunnelPoint:
    """One line compared: the book, the count, and whether the difference is inside its tolerance."""

    line: str
    place: str
    name: str
    count_class: str
    book: int
    count: int
    allowed: int
    inside: bool

    @property
    def difference(self) -> int:
        return self.count - self.book


@dataclass(frozen=True, slots=True)
class DriftPoint:
    """One taxon in one place at one census. ``method`` in few words; ``breaks``: not the one of before."""

    census: str
    book: int
    value: int | None
    low: int | None
    high: int | None
    at_least: bool
    method: str
    breaks: bool

    @property
    def difference(self) -> int | None:
        return None if self.value is None else self.value - self.book


@dataclass(frozen=True, slots=True)
class AccuracyPoint:
    """Record accuracy of one class at one census, in per cent of lines; None where none was counted.

    ``lines`` have a latest count, ``first_lines`` a first one that was compared: a line that was added or
    counted later has none.
    """

    census: str
    count_class: str
    lines: int
    first: float | None
    latest: float | None
    first_lines: int

    @property
    def first_words(self) -> str:
        """``92.5``, and of how many lines where these are others than the latest counts have."""
        if self.first is None:
            return ""
        return f"{self.first:.1f}" + (f" (of {self.first_lines})" if self.first_lines != self.lines else "")

    @property
    def target(self) -> int:
        return TARGETS[self.count_class]


@dataclass(frozen=True, slots=True)
class LossBar:
    """Unexplained losses of one place in one unit. ``held``: the book before they were written off."""

    place: str
    name: str
    unit: str
    losses: int
    gains: int
    held: int

    @property
    def few(self) -> bool:
        """A share of so few says nothing: one of six is no 17 in 100 (*common practice, no source*)."""
        return self.held <= FEW

    @property
    def per_hundred(self) -> float | None:
        """None where there are too few to tell a share; the numbers themselves are told."""
        return None if self.few else round(100 * self.losses / self.held, 1)


@dataclass(frozen=True, slots=True)
class LossMonth:
    """What was written off or put on as unexplained in one month (``2026-09``) in one unit."""

    month: str
    unit: str
    losses: int
    gains: int

    @property
    def first_day(self) -> date:
        return date.fromisoformat(f"{self.month}-01")

    @property
    def in_words(self) -> str:
        """``September 2026``."""
        return month_in_words(self.first_day)

    @property
    def span(self) -> tuple[float, float]:
        """Between which numbers the losses of such a month lie by chance alone, 95 in 100 times (Garwood)."""
        return garwood(self.losses)

    @property
    def span_words(self) -> str:
        low, high = self.span
        return f"{low:.0f} to {high:.0f}"


def funnel_edge(count_class: str, books: Sequence[int], settings: CensusSettings) -> list[tuple[int, int]]:
    """(book, tolerance) at every number of the book where the tolerance may step, up to the largest."""
    largest = max([*books, 1])
    # Every number while steps are seen, a hundred beyond; the ends are exact.
    every = sorted(
        {*range(min(largest, 200) + 1), largest, *(round(largest ** (n / 100)) for n in range(101))}
    )
    return [(book, tolerance(count_class, book, settings)) for book in every if book <= largest]


def funnel_words(points: Sequence[FunnelPoint]) -> str:
    """What the chart shows, for who does not see it."""
    if not points:
        return "No line was counted."
    outside = [point for point in points if not point.inside]
    above = sum(point.difference > 0 for point in points)
    below = sum(point.difference < 0 for point in points)
    told = (
        f"{_lines(len(points))} counted: {len(points) - above - below} as the book has them, {above} above, "
        f"{below} below; {len(outside)} outside their tolerance."
    )
    if not outside:
        return told
    worst = max(outside, key=lambda point: (abs(point.difference), point.line))
    return f"{told} The largest is {signed(worst.difference)}, {worst.name} in {worst.place}."


def drift_words(points: Sequence[DriftPoint], run: int) -> str:
    """The course, and whether the counts lie on one side of the book for ``run`` censuses running."""
    known = [(point, point.difference) for point in points if point.difference is not None]
    if not known:
        return "It was not counted yet."
    told = ", ".join(
        f"{point.census} {whole(point.book + d)} (book {whole(point.book)})" for point, d in known
    )
    last = [d for _, d in known[-run:]]
    if len(last) == run and (all(d > 0 for d in last) or all(d < 0 for d in last)):
        side = "above" if last[0] > 0 else "below"
        return f"{told}. The last {run} counts all lie {side} the book: it drifts."
    return f"{told}. The counts do not lie on one side of the book {run} times running."


def accuracy_words(points: Sequence[AccuracyPoint]) -> str:
    """The newest of each class beside its target."""
    newest: dict[str, AccuracyPoint] = {}
    for point in points:
        if point.latest is not None:
            newest[point.count_class] = point
    if not newest:
        return "No line was counted yet."
    told = "; ".join(
        f"class {name} {point.latest:g} % at {point.census}, target {point.target} %"
        for name, point in sorted(newest.items())
    )
    return f"{told[0].upper()}{told[1:]}."


def loss_words(bars: Sequence[LossBar]) -> str:
    """The place that loses most for what it holds."""
    rated = [bar for bar in bars if bar.per_hundred]
    few = sum(1 for bar in bars if bar.few and bar.losses)
    if not rated and not few:
        return "No loss was written off as unexplained."
    small = f" Of {_places(few)} with {FEW} animals or fewer the numbers alone are told." if few else ""
    if not rated:
        return small.strip()
    worst = max(rated, key=lambda bar: (bar.per_hundred or 0, bar.place))
    return (
        f"{_places(len(rated))} with unexplained losses. The highest is {worst.place} with "
        f"{worst.per_hundred:g} in 100: {whole(worst.losses)} of {whole(worst.held)}.{small}"
    )


def month_words(months: Sequence[LossMonth]) -> str:
    """The month with most losses, and whether it stands out of what chance alone makes."""
    if not any(one.losses for one in months):
        return "No loss was written off as unexplained in these months."
    worst = max(months, key=lambda one: (one.losses, one.month))
    same = [one.losses for one in months if one.unit == worst.unit]
    usual = sum(same) / len(same)
    told = f"Most in {worst.in_words}: {whole(worst.losses)}, by chance {worst.span_words}."
    if worst.span[0] > usual:
        return f"{told} That is above the mean of {usual:.1f} a month by more than chance."
    return f"{told} The mean is {usual:.1f} a month: the numbers are too small to tell the months apart."


def _places(n: int) -> str:
    return "1 place" if n == 1 else f"{n} places"


def _lines(n: int) -> str:
    return "1 line" if n == 1 else f"{n} lines"
