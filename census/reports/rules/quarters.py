"""Calendar quarters and years between two days."""

from dataclasses import dataclass
from datetime import date, timedelta

MOST = 12


@dataclass(frozen=True, slots=True)
class Quarter:
    """A calendar quarter, both days inside."""

    first_day: date
    last_day: date

    @property
    def words(self) -> str:
        """``2026 Q3``."""
        return f"{self.first_day.year} Q{(self.first_day.month + 2) // 3}"


def quarter_of(day: date) -> Quarter:
    """The quarter in which a day lies."""
    first = date(day.year, 3 * ((day.month - 1) // 3) + 1, 1)
    after = date(first.year + (first.month == 10), (first.month + 2) % 12 + 1, 1)
    return Quarter(first, after - timedelta(days=1))


def quarters_between(first_day: date, last_day: date) -> list[Quarter]:
    """Every quarter that has a day in the period, oldest first; raises ValueError for more than twelve."""
    found = [quarter_of(first_day)]
    while found[-1].last_day < last_day:
        found.append(quarter_of(found[-1].last_day + timedelta(days=1)))
        if len(found) > MOST:
            raise ValueError(f"the report by period shows at most {MOST} quarters; choose a shorter period")
    return found


def years_in(quarters: list[Quarter]) -> list[int]:
    """Calendar years of which all four quarters are there."""
    years = [quarter.first_day.year for quarter in quarters]
    return [year for year in sorted(set(years)) if years.count(year) == 4]


def two_years_to(last_day: date) -> tuple[date, date]:
    """First and last day of the eight quarters that end with the one of ``last_day``."""
    first = quarter_of(last_day).first_day
    for _ in range(7):
        first = quarter_of(first - timedelta(days=1)).first_day
    return first, quarter_of(last_day).last_day
