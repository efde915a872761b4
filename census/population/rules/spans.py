"""Days put together into quarters and months, as the house reckons them."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

MOST_DAYS = 3_700
"""Ten years: a page of more says less."""


@dataclass(frozen=True, slots=True)
class Span:
    """From the first day to the last, both inside."""

    first: date
    last: date
    name: str

    @property
    def days(self) -> int:
        return (self.last - self.first).days + 1


def quarter_of(day: date) -> Span:
    """The calendar quarter of a day."""
    month = 3 * ((day.month - 1) // 3) + 1
    first = day.replace(month=month, day=1)
    return Span(first, _next_month(first, 3) - timedelta(days=1), f"{day.year} Q{month // 3 + 1}")


def next_quarter(span: Span) -> Span:
    """The quarter after the one that ends with ``span``."""
    return quarter_of(span.last + timedelta(days=1))


def month_of(day: date) -> Span:
    """The calendar month of a day."""
    first = day.replace(day=1)
    return Span(first, _next_month(first, 1) - timedelta(days=1), f"{first:%Y-%m}")


def quarters_until(last: date, number: int) -> list[Span]:
    """``number`` quarters, oldest first; the newest holds ``last``."""
    found = [quarter_of(last)]
    while len(found) < number:
        found.insert(0, quarter_of(found[0].first - timedelta(days=1)))
    return found


def quarters_up_to(last: date, number: int) -> list[Span]:
    """The same, the newest cut to ``last``: a part of a quarter says so in its name."""
    found = quarters_until(last, number)
    return [*found[:-1], *quarters_between(found[-1].first, last)]


def quarters_between(first: date, last: date) -> list[Span]:
    """The quarters that touch the days, cut to them; a part of one says so in its name."""
    return _between(first, last, quarter_of)


def months_between(first: date, last: date) -> list[Span]:
    """The months that touch the days, cut to them."""
    return _between(first, last, month_of)


def _between(first: date, last: date, whole: Callable[[date], Span]) -> list[Span]:
    found: list[Span] = []
    day = first
    while day <= last:
        span = whole(day)
        cut = Span(max(span.first, first), min(span.last, last), span.name)
        part = "" if (cut.first, cut.last) == (span.first, span.last) else " (part)"
        found.append(Span(cut.first, cut.last, span.name + part))
        day = span.last + timedelta(days=1)
    return found


def _next_month(first: date, months: int) -> date:
    month = first.month - 1 + months
    return first.replace(year=first.year + month // 12, month=month % 12 + 1)
