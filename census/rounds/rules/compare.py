"""A count beside the book: the difference, and what may be said about it."""

from collections.abc import Sequence
from dataclasses import dataclass

from .settings import DEFAULTS, CensusSettings
from .tolerance import tolerance
from .words import Verdict


@dataclass(frozen=True, slots=True)
class Measured:
    """One count of one line. ``at_least``: a minimum; ``low`` and ``high``: the range of its passes."""

    value: int
    at_least: bool = False
    low: int | None = None
    high: int | None = None


@dataclass(frozen=True, slots=True)
class Comparison:
    """``difference`` is count minus book; ``tolerance`` in the unit of the line.

    ``inside`` is the measure's answer: a minimum count counts there as the number written.
    """

    book: int
    count: int | None
    difference: int | None
    tolerance: int
    verdict: Verdict

    @property
    def counted(self) -> bool:
        return self.count is not None

    @property
    def exact(self) -> bool:
        """True when count and book are the same number; a book below zero is never right."""
        return self.difference == 0 and self.book >= 0

    @property
    def inside(self) -> bool:
        return self.verdict in (Verdict.EXACT, Verdict.INSIDE)


def compare(
    count_class: str, book: int, measured: Measured | None, settings: CensusSettings = DEFAULTS
) -> Comparison:
    """Compares one count with the book at its own moment. ``None`` is a line not counted."""
    allowed = tolerance(count_class, book, settings)
    if measured is None:
        return Comparison(book, None, None, allowed, Verdict.NOT_COUNTED)
    difference = measured.value - book
    return Comparison(
        book, measured.value, difference, allowed, _verdict(count_class, book, measured, allowed)
    )


def compare_joined(
    count_class: str,
    parts: Sequence[tuple[int, Measured | None]],
    settings: CensusSettings = DEFAULTS,
) -> Comparison:
    """Compares the lines of a joined set on their sum: (book, count) of each part.

    Animals pass between the parts, so that only the sum says anything. One part that was not
    counted leaves the whole not counted; one minimum makes the sum a minimum.
    """
    book = sum(part_book for part_book, _ in parts)
    counts = [measured for _, measured in parts]
    return compare(count_class, book, add_up(counts), settings)


def add_up(counts: Sequence[Measured | None]) -> Measured | None:
    """The counts of the parts of a joined set as one; ``None`` unless all parts were counted."""
    present = [measured for measured in counts if measured is not None]
    if not present or len(present) < len(counts):
        return None
    ranged = any(measured.low is not None for measured in present)
    return Measured(
        value=sum(measured.value for measured in present),
        at_least=any(measured.at_least for measured in present),
        low=sum(_or(measured.low, measured.value) for measured in present) if ranged else None,
        high=sum(_or(measured.high, measured.value) for measured in present) if ranged else None,
    )


def counts_agree(count_class: str, first: int, second: int, settings: CensusSettings = DEFAULTS) -> bool:
    """True when two counts confirm each other: equal; class C within its per cent of the larger."""
    if count_class == "C":
        return abs(first - second) * 100 <= settings.tolerance_c_percent * max(first, second)
    return first == second


def _verdict(count_class: str, book: int, measured: Measured, allowed: int) -> Verdict:
    difference = measured.value - book
    if book < 0:
        return Verdict.OUTSIDE
    if difference == 0:
        return Verdict.EXACT
    if abs(difference) <= allowed or _own_range_holds(count_class, book, measured):
        return Verdict.INSIDE
    if measured.at_least and difference < 0:
        return Verdict.MINIMUM
    return Verdict.OUTSIDE


def _own_range_holds(count_class: str, book: int, measured: Measured) -> bool:
    """Class C only: the count's own range, where it is wider than the per cent, is the tolerance."""
    if count_class != "C" or measured.low is None or measured.high is None:
        return False
    return measured.low <= book <= measured.high


def _or(number: int | None, otherwise: int) -> int:
    return otherwise if number is None else number
