"""What people type into a spreadsheet's cell, read without guessing.

Each function takes one cell's value as a file reader gives it and returns what the book keeps, or
raises :class:`ValueError` that says what stands there and what was expected. An empty cell is
``None``; text comes with or without spaces around it.
"""

import math
import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from decimal import Decimal, InvalidOperation

from .happened import EXPECTED, Happened, parse_happened, parse_moment

LARGEST_NUMBER = 999_999_999
WORDS_FOR_YES = frozenset({"yes", "y", "true", "1"})
WORDS_FOR_NO = frozenset({"no", "n", "false", "0"})

# What spreadsheet programs show in place of a result; Office Open XML, ECMA-376 part 1, 18.17.3.
ERROR_VALUES = frozenset(
    {"#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA"}
)


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A cell whose value the file does not hold, and why."""

    why: str


Readable = str | int | float | bool | date | time | timedelta | None
Value = Readable | Unreadable


def is_empty(value: Value) -> bool:
    """True for a cell that says nothing."""
    return value is None or (isinstance(value, str) and not value.strip())


def text(cell: Value, *, longest: int | None = None) -> str:
    """The cell as text; a whole number keeps its digits. An empty cell is ``""``."""
    value = _readable(cell)
    if value is None:
        return ""
    if isinstance(value, str):
        words = value.strip()
    elif isinstance(value, bool | date | time | timedelta):
        # A spreadsheet turns 3-4 into the third of April by itself: what was typed is gone.
        raise ValueError(
            f"{_shown(value)} where text was expected; format the cell as text and type it again"
        )
    else:
        words = _digits(value)
    if not words.isprintable() and any(ord(sign) < 32 and sign not in "\t\n\r" for sign in words):
        raise ValueError(f"{words!r} holds a sign that cannot be printed; type it again")
    if longest is not None and len(words) > longest:
        raise ValueError(f"{words[:40]!r}... is {len(words)} characters long; expected at most {longest}")
    return words


def whole_number(cell: Value) -> int:
    """Animals: 0 or more. An empty cell is 0; ``3``, ``3.0`` and ``"3"`` are 3."""
    expected = f"expected a whole number from 0 to {LARGEST_NUMBER}"
    value = _readable(cell)
    if value is None:
        return 0
    if isinstance(value, bool | date | time | timedelta):
        raise ValueError(f"{_shown(value)} where a number was expected; {expected}")
    if isinstance(value, str):
        # Not 1.000: that is a thousand to some and one to others.
        found = re.fullmatch(r"([+-]?)([0-9]+)(\.0{1,2})?", value.strip())
        if found is None:
            if not value.strip():
                return 0
            raise ValueError(f"{value.strip()!r} is not a whole number; {expected}, digits only")
        number = int(found[1] + found[2])
    elif math.isfinite(value) and value == int(value):
        number = int(value)
    else:
        raise ValueError(f"{value} is not a whole number: animals are whole; {expected}")
    if number < 0:
        raise ValueError(f"{number} is negative; {expected}: the kind of event says which way they go")
    if number > LARGEST_NUMBER:
        raise ValueError(f"{number} is too large; {expected}")
    return number


def decimal_number(cell: Value, *, digits: int, places: int) -> Decimal | None:
    """A measure such as a volume, 0 or more, with a full stop as decimal sign. Empty is None."""
    expected = f"expected a number such as 12.5, 0 or more, with at most {places} decimals"
    value = _readable(cell)
    if value is None or (isinstance(value, str) and not value.strip()):
        return None
    if isinstance(value, bool | date | time | timedelta):
        raise ValueError(f"{_shown(value)} where a number was expected; {expected}")
    words = value.strip() if isinstance(value, str) else _digits(value)
    try:
        number = Decimal(words) if re.fullmatch(r"[0-9]+(\.[0-9]+)?", words) else Decimal("nan")
        exact = number.quantize(Decimal(1).scaleb(-places))
    except InvalidOperation:
        raise ValueError(f"{words!r} is not a number; {expected}") from None
    if number.is_nan() or exact != number:
        raise ValueError(f"{words!r} is not such a number; {expected}")
    if exact >= Decimal(10) ** (digits - places):
        raise ValueError(f"{words} is too large; {expected}")
    return exact


def yes_or_no(cell: Value) -> bool | None:
    """Yes or no; an empty cell says neither and is None."""
    value = _readable(cell)
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str | int | float):
        word = value.strip().lower() if isinstance(value, str) else _digits(value)
        if not word:
            return None
        if word in WORDS_FOR_YES:
            return True
        if word in WORDS_FOR_NO:
            return False
    raise ValueError(f"{_shown(value)} is neither yes nor no; expected yes or no")


def happened(cell: Value) -> Happened:
    """A day, a minute or an interval in the house's own time; see :func:`read_moment` for the forms."""
    value = _readable(cell)
    if is_empty(value):
        raise ValueError(f"empty; expected {EXPECTED}")
    if isinstance(value, str):
        typed = _as_people_write(value.strip())
        return Happened(typed, typed) if typed else parse_happened(value)
    moment = _of_spreadsheet(value)
    return Happened(moment, moment)


def read_moment(cell: Value, zone: tzinfo) -> datetime | None:
    """One aware moment, or None when empty: a spreadsheet's date, ISO 8601, or a date as people write it.

    ``25/10/2026``, ``3 Oct 2026`` and ``3/3/2026 14:30`` can be read in one way only. ``3/10/2026``
    can be read in two and is refused. A day counts from its start.
    """
    value = _readable(cell)
    if is_empty(value):
        return None
    if isinstance(value, str):
        typed = _as_people_write(value.strip())
        return _aware(typed, zone) if typed else parse_moment(value, zone)
    return _aware(_of_spreadsheet(value), zone)


def _aware(moment: date, zone: tzinfo) -> datetime:
    if not isinstance(moment, datetime):
        moment = datetime.combine(moment, time())
    return moment.replace(tzinfo=zone)


def _of_spreadsheet(value: Readable) -> date:
    """A spreadsheet's date cell: a date, or a date and time to the second; midnight is the day."""
    if isinstance(value, datetime):
        # Days are kept as fractions there: 09:30 may come as 09:29:59.999.
        moment = (value + timedelta(microseconds=500_000)).replace(microsecond=0)
        return moment.date() if moment.time() == time() else moment
    if isinstance(value, date):
        return value
    raise ValueError(f"{_shown(value)} is not a date; format the cell as a date, or write {EXPECTED}")


_CLOCK = r"(?:(?:\s*,)?\s+(?P<hour>[0-9]{1,2}):(?P<minute>[0-9]{2}))?"
_WITH_NUMBERS = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4})" + _CLOCK)
_YEAR_FIRST = re.compile(r"([0-9]{4})/([0-9]{1,2})/([0-9]{1,2})" + _CLOCK)
_DAY_MONTH = re.compile(
    r"(?P<day>[0-9]{1,2})(?:st|nd|rd|th|\.)?[\s-]*(?P<month>[a-z]+)\.?,?[\s-]*(?P<year>[0-9]{4})" + _CLOCK,
    re.IGNORECASE,
)
_MONTH_DAY = re.compile(
    r"(?P<month>[a-z]+)\.?\s+(?P<day>[0-9]{1,2})(?:st|nd|rd|th)?,?\s+(?P<year>[0-9]{4})" + _CLOCK,
    re.IGNORECASE,
)
_MONTHS = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)


def _as_people_write(words: str) -> date | None:
    """A date in one of the forms that can be read in one way only; None when it has no such form."""
    if found := _WITH_NUMBERS.fullmatch(words):
        first, second, year = int(found[1]), int(found[3]), int(found[4])
        if first in range(1, 13) and second in range(1, 13) and first != second:
            raise ValueError(
                f"{words!r} can be read as {first} {_name(second)} or {second} {_name(first)}; "
                f"expected {year}-MM-DD, or the month as a word: {first} {_name(second)[:3]} {year}"
            )
        day, month = (first, second) if second <= 12 else (second, first)
    elif found := _YEAR_FIRST.fullmatch(words):
        year, month, day = int(found[1]), int(found[2]), int(found[3])
    elif found := _DAY_MONTH.fullmatch(words) or _MONTH_DAY.fullmatch(words):
        year, month, day = int(found["year"]), _month(found["month"]), int(found["day"])
        if not month:
            return None
    else:
        return None
    try:
        its_day = date(year, month, day)
        if found["hour"] is None:
            return its_day
        return datetime.combine(its_day, time(int(found["hour"]), int(found["minute"])))
    except ValueError:
        raise ValueError(f"{words!r} is no day of the calendar; expected {EXPECTED}") from None


def _month(word: str) -> int:
    """1 to 12, or 0: the English name in full or its first three letters (and Sept)."""
    word = word.lower()
    for number, name in enumerate(_MONTHS, start=1):
        if word in (name, name[:3]) or (word == "sept" and number == 9):
            return number
    return 0


def _name(month: int) -> str:
    return _MONTHS[month - 1].capitalize()


def _readable(value: Value) -> Readable:
    if isinstance(value, Unreadable):
        raise ValueError(value.why)
    if isinstance(value, str) and value.startswith("#") and value.strip() in ERROR_VALUES:
        raise ValueError(f"the cell shows the error {value.strip()}; correct it in the spreadsheet")
    return value


def _digits(value: int | float) -> str:
    return str(int(value)) if math.isfinite(value) and value == int(value) else str(value)


def _shown(value: Readable) -> str:
    """A value for an error message, with what kind of cell it is when that is not plain."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, datetime):
        return f"the date {value:%Y-%m-%d %H:%M}"
    if isinstance(value, date):
        return f"the date {value.isoformat()}"
    if isinstance(value, time | timedelta):
        return f"the time {value}"
    if isinstance(value, int | float):
        return f"the number {value}"
    return repr(value)
