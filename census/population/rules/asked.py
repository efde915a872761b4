"""What a page of the populations is asked."""

from dataclasses import dataclass
from datetime import date, datetime

from census.change.rules.question import check_days
from inventory.book.rules.scope import Scope

from .spans import MOST_DAYS


@dataclass(frozen=True, slots=True)
class Asked:
    """Both days are inside. Without a taxon, a family and a place it is the whole house.

    ``taxon`` and ``place`` are ids; ``known_at`` None is now; ``today`` is the house's day, for what
    runs on until now.
    """

    first_day: date
    last_day: date
    today: date
    taxon: int | None = None
    family: str = ""
    place: int | None = None
    scope: Scope = Scope.HERE
    known_at: datetime | None = None
    unit: str = "animal"
    against: int | None = None
    """The place to which another is compared."""
    own_scale: bool = False
    """Small charts side by side have each a scale of their own, not one for all."""

    def __post_init__(self) -> None:
        check_days(self.first_day, self.last_day)

    def check_length(self) -> None:
        """Raises :class:`ValueError` for more days than a page tells of. What a page reads beside the days it
        is asked about, to compare them, may go further back."""
        if (self.last_day - self.first_day).days > MOST_DAYS:
            raise ValueError("a period of more than ten years is too long for a page; ask for a part of it")
