"""The measures of the curator's page: what a census says about counts, book and work."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta

from .compare import counts_agree
from .settings import DEFAULTS, CensusSettings


@dataclass(frozen=True, slots=True)
class Recounted:
    """One line counted twice: its class, the book, the first count, the second."""

    count_class: str
    book: int
    first: int
    second: int


@dataclass(frozen=True, slots=True)
class RecountAgreement:
    """``with_book``: the first count was wrong; ``with_first``: the book is. Both may be, or neither."""

    asked: int
    made: int
    with_book: int
    with_first: int

    def share(self, n: int) -> float | None:
        """``n`` in per cent of the recounts made."""
        return round(100 * n / self.made, 1) if self.made else None

    @property
    def with_book_percent(self) -> float | None:
        return self.share(self.with_book)

    @property
    def with_first_percent(self) -> float | None:
        return self.share(self.with_first)


def recount_agreement(
    asked: int, made: Iterable[Recounted], settings: CensusSettings = DEFAULTS
) -> RecountAgreement:
    """How often the second count agreed with the book, and how often with the first count."""
    found = list(made)
    return RecountAgreement(
        asked=asked,
        made=len(found),
        with_book=sum(counts_agree(one.count_class, one.book, one.second, settings) for one in found),
        with_first=sum(counts_agree(one.count_class, one.first, one.second, settings) for one in found),
    )


def per_hundred(n: int, animals: int) -> float | None:
    """``n`` for each hundred animals; nothing where there are none."""
    return round(100 * n / animals, 1) if animals > 0 else None


@dataclass(frozen=True, slots=True)
class Delay:
    """Whole days from count to typing: the middle one, the longest, and how many counts."""

    counts: int
    median: float | None
    longest: int | None


def delay(spans: Iterable[timedelta]) -> Delay:
    """The median of whole days; of an even number, the mean of the two in the middle."""
    days = sorted(max(0, span.days) for span in spans)
    if not days:
        return Delay(0, None, None)
    middle = len(days) // 2
    median = float(days[middle]) if len(days) % 2 else (days[middle - 1] + days[middle]) / 2
    return Delay(len(days), median, days[-1])
