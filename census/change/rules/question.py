"""What a population change report is asked."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from inventory.book.rules.scope import Scope


class By(StrEnum):
    """What one row is, beside its taxon and unit."""

    TAXON = "taxon"
    PLACE = "place"
    LOT = "lot"
    SOURCE = "source"
    OWNER = "owner"


class Basis(StrEnum):
    """Whose knowledge counts."""

    REPORTED = "reported"
    """What was known at the newest closing of each boundary; what came later is late."""
    KNOWN = "known"
    """What is known at one moment; nothing is late."""


@dataclass(frozen=True, slots=True)
class Question:
    """Both days are inside the period. ``known_at`` None is now.

    ``names`` is the release whose names are printed, or "closing"; blank: the names of now.
    """

    first_day: date
    last_day: date
    by: By = By.TAXON
    scope: Scope = Scope.HERE
    basis: Basis = Basis.REPORTED
    known_at: datetime | None = None
    names: str = ""

    def __post_init__(self) -> None:
        check_days(self.first_day, self.last_day)


# No book reaches so far, and beside these years the calendar of computers ends.
YEARS = range(1500, 3000)


def check_days(first_day: date, last_day: date) -> None:
    """Raises :class:`ValueError`, with what to do, for days that are no period."""
    if last_day < first_day:
        raise ValueError(
            f"the period ends on {last_day}, before it starts on {first_day}; give the first day first"
        )
    for day in (first_day, last_day):
        if day.year not in YEARS:
            raise ValueError(
                f"{day} lies in the year {day.year};"
                f" expected one of {YEARS[0]} to {YEARS[-1]}, in four digits"
            )


def default_basis(known_at: datetime | None) -> Basis:
    """As reported, unless a moment of knowledge is named."""
    return Basis.REPORTED if known_at is None else Basis.KNOWN


def last_quarter(today: date) -> tuple[date, date]:
    """First and last day of the newest calendar quarter that is over."""
    first_month = 3 * ((today.month - 1) // 3) + 1
    last_day = today.replace(month=first_month, day=1) - timedelta(days=1)
    return last_day.replace(month=last_day.month - 2, day=1), last_day
