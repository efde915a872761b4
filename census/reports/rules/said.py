"""Days and moments: in words on a page and on paper, ISO 8601 in files."""

from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from census.change.rules.words import moment_in_words
from inventory.book.rules.days import day_in_words, days_in_words, happened_in_words


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

    def span(self, first: datetime, last: datetime) -> str:
        """From one moment to another: in words the day stands once where both are of it."""
        if first == last:
            return self.moment(first)
        until = last.astimezone(self.zone)
        if self.words and first.astimezone(self.zone).date() == until.date():
            return f"{self.moment(first)} to {until:%H:%M}"
        return f"{self.moment(first)} to {self.moment(last)}"

    def happened(self, text: str) -> str:
        """When something happened, as the book keeps it: a day, a minute or an interval of these."""
        return happened_in_words(text) if self.words else text

    def sentence(self, text: str) -> str:
        """What was written down with ISO days in it."""
        return days_in_words(text) if self.words else text

    def days(self, first: date, last: date) -> str:
        return f"{self.day(first)} to {self.day(last)}"
