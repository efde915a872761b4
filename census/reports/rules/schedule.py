"""When a saved report is due, and which days it is of."""

from datetime import date, timedelta
from enum import StrEnum

from census.change.rules.question import last_quarter

from .quarters import quarter_of, two_years_to

LAST_DAY = 28
"""Of a month, on which a report can be due: every month has it."""


class Every(StrEnum):
    """How often. Quarters are those of the calendar, and a year begins in January."""

    NEVER = "never"
    MONTH = "month"
    QUARTER = "quarter"
    YEAR = "year"


EVERY_WORDS = {
    Every.NEVER: "only when asked",
    Every.MONTH: "each month",
    Every.QUARTER: "each quarter, in its first month",
    Every.YEAR: "each year, in January",
}


class PeriodRule(StrEnum):
    """Which days, told the day on which the report is made."""

    CLOSED_QUARTER = "closed_quarter"
    QUARTER = "quarter"
    MONTH = "month"
    YEAR = "year"
    TWO_YEARS = "two_years"


PERIOD_WORDS = {
    PeriodRule.CLOSED_QUARTER: "last closed quarter",
    PeriodRule.QUARTER: "last quarter, closed or not",
    PeriodRule.MONTH: "last month",
    PeriodRule.YEAR: "last calendar year",
    PeriodRule.TWO_YEARS: "two years to the end of the last quarter",
}


def next_due(every: Every, day: int, after: date) -> date | None:
    """The first day later than ``after`` on which it is due; None when it is made only when asked."""
    if every is Every.NEVER:
        return None
    months = {Every.MONTH: range(1, 13), Every.QUARTER: (1, 4, 7, 10), Every.YEAR: (1,)}[every]
    days = (date(year, month, day) for year in (after.year, after.year + 1) for month in months)
    return next(due for due in days if due > after)


def period_of(rule: PeriodRule, on: date, closed: tuple[date, date] | None) -> tuple[date, date]:
    """First and last day. ``closed``: the newest quarter that is closed. Raises ValueError when none is."""
    if rule is PeriodRule.CLOSED_QUARTER:
        if closed is None:
            raise ValueError("no quarter is closed yet; close one, or choose “last quarter, closed or not”")
        return closed
    if rule is PeriodRule.MONTH:
        last = on.replace(day=1) - timedelta(days=1)
        return last.replace(day=1), last
    if rule is PeriodRule.YEAR:
        return date(on.year - 1, 1, 1), date(on.year - 1, 12, 31)
    if rule is PeriodRule.TWO_YEARS:
        return two_years_to(last_quarter(on)[1])
    return last_quarter(on)


def is_quarter(first_day: date, last_day: date) -> bool:
    """Whether the two days are those of one calendar quarter."""
    quarter = quarter_of(first_day)
    return (quarter.first_day, quarter.last_day) == (first_day, last_day)
