"""When a return is due: the permit's own day, else the authority's rule as it is kept as data."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum


class DueKind(StrEnum):
    """How an authority reckons."""

    AFTER_EXPIRY = "after_expiry"
    EACH_YEAR = "each_year"

    @property
    def words(self) -> str:
        """For a list to choose from."""
        return _WORDS[self]


_WORDS = {
    DueKind.AFTER_EXPIRY: "once, so many days after the permit ends",
    DueKind.EACH_YEAR: "for each calendar year, by a day of the next",
}


@dataclass(frozen=True, slots=True)
class DueRule:
    """``days`` after expiry, or ``month_day`` ("03-31") of the year that follows."""

    kind: DueKind
    days: int = 0
    month_day: str = ""

    @property
    def words(self) -> str:
        """ "30 days after expiry", "each year by 03-31 of the next\""""
        if self.kind is DueKind.EACH_YEAR:
            return f"each year by {self.month_day} of the next"
        return f"{self.days} day{'' if self.days == 1 else 's'} after expiry"


@dataclass(frozen=True, slots=True)
class Due:
    """A return for ``starts_on`` to ``ends_on``, both inside, due on a day."""

    starts_on: date
    ends_on: date
    due_on: date


def returns_due(
    *, valid_from: date, valid_until: date, own_day: date | None, rule: DueRule | None
) -> Sequence[Due]:
    """The returns that a permit asks for, in order. The permit's own day stands before any rule.

    A calendar year's return is for the days of it on which the permit held.
    """
    if own_day is not None:
        return [Due(valid_from, valid_until, own_day)]
    if rule is None:
        return []
    if rule.kind is DueKind.AFTER_EXPIRY:
        return [Due(valid_from, valid_until, valid_until + timedelta(days=rule.days))]
    return [
        Due(
            max(valid_from, date(year, 1, 1)),
            min(valid_until, date(year, 12, 31)),
            day_of(year + 1, rule.month_day),
        )
        for year in range(valid_from.year, valid_until.year + 1)
    ]


def statement_days(*, every: str, valid_from: date, valid_until: date, on: date) -> list[date]:
    """The days at whose end stock is stated: the last of each calendar quarter or year, ``on`` the latest.

    ``every`` is "quarter", "year" or nothing. A permit that ends inside one is stated on its last day.
    That the calendar's quarters are meant is common practice, no source: the paper decides.
    """
    ends = {"quarter": ("03-31", "06-30", "09-30", "12-31"), "year": ("12-31",)}.get(every, ())
    days = [day_of(year, end) for year in range(valid_from.year, valid_until.year + 1) for end in ends]
    inside = [day for day in days if valid_from <= day <= valid_until]
    if ends and (not inside or inside[-1] != valid_until):
        inside.append(valid_until)
    return [day for day in inside if day <= on]


def day_of(year: int, month_day: str) -> date:
    """The day of a year; 29 February of a common year is the 28th. Raises :class:`ValueError`."""
    month, _, day = month_day.partition("-")
    if not (len(month) == 2 and len(day) == 2 and (month + day).isdigit()):
        raise ValueError(f"{month_day!r} is no day of a year; expected MM-DD, such as 03-31")
    if month_day == "02-29" and not (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)):
        return date(year, 2, 28)
    try:
        return date(year, int(month), int(day))
    except ValueError:
        raise ValueError(f"{month_day!r} is no day of a year; expected MM-DD, such as 03-31") from None
