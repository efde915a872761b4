"""How near a day is, and at which of its steps a reminder stands."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date
from enum import StrEnum


class About(StrEnum):
    """What a reminder is about, in the order of a list for one day."""

    NOTICE = "notice"
    RETURN = "return"
    STATEMENT = "statement"
    EXPIRY = "expiry"
    LOAN_BACK = "loan_back"
    LOAN_LETTER = "loan_letter"

    @property
    def words(self) -> str:
        """As people read it."""
        return _WORDS[self]


_WORDS = {
    About.NOTICE: "notice of a death or an absence",
    About.RETURN: "return",
    About.STATEMENT: "statement of stock",
    About.EXPIRY: "permit ends",
    About.LOAN_BACK: "loan ends",
    About.LOAN_LETTER: "loan to confirm",
}


@dataclass(frozen=True, slots=True)
class Reminder:
    """One thing with its day.

    ``subject`` names the paper (a permit, an agreement), never an animal or a place: it goes into
    calendars and e-mail. ``key`` stays the same from day to day. ``step``: the reminder of so many days
    before; none: it has no steps.
    """

    about: About
    subject: str
    due_on: date
    on: date
    path: str
    key: str
    detail: str = ""
    step: int | None = None

    @property
    def days(self) -> int:
        """Days left, today not counted; negative: late by so many."""
        return (self.due_on - self.on).days

    @property
    def late(self) -> bool:
        """True once the day is over."""
        return self.days < 0

    @property
    def when(self) -> str:
        """ "today", "in 25 days", "147 days ago\""""
        return when(self.days)

    @property
    def words(self) -> str:
        """One line of a list without columns."""
        return f"{self.about.words.capitalize()}: {self.subject}, {self.due_on} ({self.when})"


def when(days: int) -> str:
    """So many days from today, in words."""
    if days == 0:
        return "today"
    n = f"{abs(days)} day{'' if abs(days) == 1 else 's'}"
    return f"in {n}" if days > 0 else f"{n} ago"


def step_of(days: int, steps: Collection[int]) -> int | None:
    """The step that is reached with ``days`` left: 25 of 90, 30 and 7 is the reminder of 30 days before.

    None while the first is still to come. Once the day is over the last step stands.
    """
    return min((step for step in steps if days <= step), default=None)
