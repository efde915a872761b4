"""Days and moments: in words on a page and on paper, ISO 8601 in files."""

from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from census.change.rules.words import day_in_words, moment_in_words
from inventory.book.rules.happened import parse_happened


@dataclass(frozen=True, slots=True)
class Saying:
    """How one door says days and moments."""

    zone: tzinfo
    words: bool = True

    def day(self, day: date) -> str:
        return day_in_words(day) if self.words else day.isoformat()

    def moment(self, moment: datetime) -> str:
        if self.words:
            return moment_in_words(moment, self.zone)
        return moment.astimezone(self.zone).isoformat(timespec="minutes")

    def happened(self, text: str) -> str:
        """When something happened, as the book keeps it: a day, a minute or an interval of these."""
        if not self.words:
            return text
        stated = parse_happened(text)
        ends = dict.fromkeys(map(_stated, (stated.start, stated.end)))
        return " to ".join(ends)

    def days(self, first: date, last: date) -> str:
        return f"{self.day(first)} to {self.day(last)}"


def _stated(moment: date) -> str:
    """A day or a minute of the house's own clock."""
    if isinstance(moment, datetime):
        return f"{day_in_words(moment.date())} {moment:%H:%M}"
    return day_in_words(moment)
