"""What is looked at before a return is frozen, and what is said where something is missing."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Check(StrEnum):
    """One thing to look at, in the order in which it is shown."""

    TOTALS = "totals"
    NO_COORDINATES = "no_coordinates"
    DOUBTFUL_PLACE = "doubtful_place"
    NO_PLACE = "no_place"
    OPEN_NAME = "open_name"
    UNAPPROVED = "unapproved"
    OPEN_QUERY = "open_query"
    WRONG_PERMIT = "wrong_permit"
    NO_LINE = "no_line"
    NOT_VALID = "not_valid"
    OVER_LIMIT = "over_limit"
    OTHER_CASES = "other_cases"
    OUTSIDE_DATES = "outside_dates"
    NOT_ENDED = "not_ended"

    @property
    def words(self) -> str:
        """What is looked at."""
        return _WORDS[self]


_WORDS = {
    Check.TOTALS: "The totals are those of the permit's page",
    Check.NO_COORDINATES: "Every row has coordinates",
    Check.DOUBTFUL_PLACE: "No case of doubtful coordinates is open",
    Check.NO_PLACE: "Every row has a place in words",
    Check.OPEN_NAME: "No name is open above the rank that the permit allows",
    Check.UNAPPROVED: "Every correction is approved by a second person",
    Check.OPEN_QUERY: "No question of a census is open about these animals",
    Check.WRONG_PERMIT: "Every row is on the permit that held that day",
    Check.NO_LINE: "Every row has a line of the permit that covers it",
    Check.NOT_VALID: "Every row is of a day on which the permit held",
    Check.OVER_LIMIT: "No case of an exceeded limit is open",
    Check.OTHER_CASES: "No other case is open",
    Check.OUTSIDE_DATES: "All takes of the permit are within the dates",
    Check.NOT_ENDED: "The days that it tells of are over",
}
# A return whose sums are wrong is no return; all else can be explained to the authority.
BLOCKS = frozenset({Check.TOTALS})


@dataclass(frozen=True, slots=True)
class Missing:
    """One thing to mend, with the page that mends it: its name and what that is told."""

    words: str
    page: str
    about: tuple[str | int, ...]
    correction: tuple[str, int] | None = None
    # The person who made the correction, by their key: somebody else approves it.
    by: int | None = None

    @property
    def approves(self) -> str:
        """ "take" or "trip" when a second person can agree right here."""
        return self.correction[0] if self.correction else ""

    @property
    def row(self) -> int:
        """The row that replaces another."""
        return self.correction[1] if self.correction else 0


@dataclass(frozen=True, slots=True)
class Finding:
    """One check and all that is missing of it; nothing missing: it is met."""

    check: Check
    missing: Sequence[Missing] = ()

    @property
    def met(self) -> bool:
        """Nothing is missing."""
        return not self.missing

    @property
    def blocks(self) -> bool:
        """It cannot be sent so, whatever is said of it."""
        return bool(self.missing) and self.check in BLOCKS

    @property
    def sentence(self) -> str:
        """As it is kept with a return that was sent all the same."""
        return f"{self.check.words}: not so. {'; '.join(one.words for one in self.missing)}"
