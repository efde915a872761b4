"""Days and moments: in words on a page and on paper, ISO 8601 in files."""

from dataclasses import dataclass
from datetime import date, datetime, tzinfo

from census.change.rules.words import day_in_words, moment_in_words


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

    def days(self, first: date, last: date) -> str:
        return f"{self.day(first)} to {self.day(last)}"
