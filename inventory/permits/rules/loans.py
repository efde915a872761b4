"""When a loan asks for something, and whose the young are."""

from calendar import monthrange
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction


def add_months(day: date, months: int) -> date:
    """The same day so many months later, or that month's last."""
    index = day.year * 12 + day.month - 1 + months
    year, month = divmod(index, 12)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))


def confirm_by(starts_on: date, letters: Sequence[date], every_months: int | None) -> date | None:
    """The day by which the next letter is due: so many months after the last one; none: never asked."""
    if every_months is None:
        return None
    return add_months(max([starts_on, *letters]), every_months)


@dataclass(frozen=True, slots=True)
class YoungShare:
    """Young of one birth: ``reached`` lived to the day on which they are shared; none: not yet known."""

    born_on: date
    shared_on: date
    reached: int | None
    lender: Fraction | None
    borrower: Fraction | None


def shared_on(born_on: date, from_day: int) -> date:
    """The day on which young are shared: day 30 is thirty days after birth."""
    return born_on + timedelta(days=from_day)


def share(born_on: date, *, from_day: int, reached: int | None, lender_part: Fraction) -> YoungShare:
    """Whose ``reached`` young are. An odd number shared half and half is left as a half: people agree."""
    lender = None if reached is None else reached * lender_part
    borrower = None if reached is None or lender is None else reached - lender
    return YoungShare(born_on, shared_on(born_on, from_day), reached, lender, borrower)


def share_words(part: Fraction) -> str:
    """ "half", "none", "all", "2 of 3"."""
    if part == 0:
        return "none"
    if part == 1:
        return "all"
    return "half" if part == Fraction(1, 2) else f"{part.numerator} of {part.denominator}"
