"""How a day is said on paper: in words, with the month by its name, so that nobody takes it for another."""

import re
from datetime import date, datetime

from .happened import parse_happened

_STATED = re.compile(r"(?<![\w/.-])(\d{4}-\d{2}-\d{2})(?:[T ](\d{2}:\d{2})(?::\d{2})?)?(?![\w/-])")


def day_in_words(day: date) -> str:
    """``1 July 2026``."""
    return f"{day.day} {day:%B %Y}"


def month_in_words(day: date) -> str:
    """``July 2026``."""
    return f"{day:%B %Y}"


def short_month(day: date) -> str:
    """``Jul 2026``, where little room is."""
    return f"{day:%b %Y}"


def happened_in_words(text: str) -> str:
    """When something happened, as the book keeps it: a day, a minute, or an interval of these.

    Raises :class:`ValueError` for any other text.
    """
    stated = parse_happened(text)
    return " to ".join(dict.fromkeys(map(_stated, (stated.start, stated.end))))


def days_in_words(text: str) -> str:
    """A sentence in which days stand as ISO 8601 has them, with these in words. What is no day of the
    calendar, and what is part of a number of something, stays."""
    return _STATED.sub(_said, text)


def _said(found: re.Match[str]) -> str:
    try:
        day = day_in_words(date.fromisoformat(found[1]))
    except ValueError:
        return found[0]
    return f"{day} {found[2]}" if found[2] else day


def _stated(moment: date) -> str:
    """A day or a minute of the house's own clock."""
    if isinstance(moment, datetime):
        return f"{day_in_words(moment.date())} {moment:%H:%M}"
    return day_in_words(moment)
