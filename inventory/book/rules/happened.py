"""When something happened, as people write it: ISO 8601 days, minutes and intervals.

Source of the forms: ISO 8601-1:2019 (calendar date, local time of day, interval ``start/end``,
and the end shortened to what differs, as Darwin Core's ``eventDate`` examples have it).
"""

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

_DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
_MINUTE = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2})?")
EXPECTED = "YYYY-MM-DD, YYYY-MM-DDTHH:MM, or START/END of these"


@dataclass(frozen=True, slots=True)
class Happened:
    """A statement of when, in the house's own time.

    ``start`` and ``end`` are dates (the whole day) or naive local date-times; they are equal
    unless the statement is an interval. Raises :class:`ValueError` when it ends before it starts.
    """

    start: date
    end: date

    def __post_init__(self) -> None:
        if _comparable(self.end) < _comparable(self.start):
            raise ValueError(f"the interval {str(self)!r} ends before it starts")

    def __str__(self) -> str:
        return _text(self.start) if self.start == self.end else f"{_text(self.start)}/{_text(self.end)}"

    @property
    def day(self) -> date:
        """The local day on which the book counts it: the interval's last."""
        return self.end.date() if isinstance(self.end, datetime) else self.end

    def effective_at(self, zone: tzinfo) -> datetime:
        """The moment from which the book counts it, aware.

        A day without a time counts from the day's start, an interval from its end: one rule for
        all kinds, so that the book at noon of a day holds what is dated by that day.
        """
        return _moment(self.end, zone)

    def earliest(self, zone: tzinfo) -> datetime:
        """The first moment that the statement allows, aware."""
        return _moment(self.start, zone)


def parse_happened(text: str) -> Happened:
    """Reads ``text``; raises :class:`ValueError` that says what was expected."""
    text = text.strip()
    if "/" not in text:
        moment = _parse_one(text)
        return Happened(moment, moment)
    first, _, second = text.partition("/")
    start = _parse_one(first)
    # "2007-11-13/15": the end may leave out what it shares with the start.
    if second and not _DAY.match(second) and not second.startswith("-"):
        second = first[: len(first) - len(second)] + second
    return Happened(start, _parse_one(second))


def parse_moment(text: str, zone: tzinfo) -> datetime:
    """Reads a day (its start) or a minute as an aware moment; an offset in the text is honoured."""
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError:
        raise ValueError(f"{text!r} is not a moment; expected YYYY-MM-DD or YYYY-MM-DDTHH:MM") from None
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def end_of_day(day: date, zone: tzinfo) -> datetime:
    """The first moment after ``day`` in the house's zone: everything of the day lies before it."""
    return datetime.combine(day + timedelta(days=1), time(), zone)


def start_of_day(day: date, zone: tzinfo) -> datetime:
    """The first moment of ``day`` in the house's zone."""
    return datetime.combine(day, time(), zone)


def _parse_one(text: str) -> date:
    try:
        if _DAY.fullmatch(text):
            return date.fromisoformat(text)
        if _MINUTE.fullmatch(text):
            return datetime.fromisoformat(text)
    except ValueError:
        pass
    raise ValueError(f"{text!r} is not a date; expected {EXPECTED}")


def _text(moment: date) -> str:
    if isinstance(moment, datetime):
        return moment.isoformat(timespec="seconds" if moment.second else "minutes")
    return moment.isoformat()


def _moment(moment: date, zone: tzinfo) -> datetime:
    if isinstance(moment, datetime):
        return moment.replace(tzinfo=zone)
    return start_of_day(moment, zone)


def _comparable(moment: date) -> datetime:
    return moment if isinstance(moment, datetime) else datetime.combine(moment, time())
