"""One line as it was written in one round, on whatever it was written."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from inventory.people.models import Person

from ..rules.words import Seen


@dataclass(frozen=True, slots=True)
class Entry:
    """What was written on one line in one round.

    ``line``: the line's number on its sheet; 0 for an animal that was written in, with its
    ``written_name``. ``counted_at``: the count moment, aware. ``value`` 0 is a count of zero; an
    entry with neither value, letter nor sightings is blank and taken as not counted. ``counter``
    is the person who counted, ``party`` whoever wrote a letter. ``passes``: how many passes or pictures
    the number is the middle of. ``sexes``: males, females,
    hermaphrodites, unknown. ``seen``: the roll-call by accession number. ``origin`` is where it
    stands ("sheet 1, row 12") and is told in problems.
    """

    line: int
    counted_at: datetime
    counter: Person | None = None
    value: int | None = None
    at_least: bool = False
    low: int | None = None
    high: int | None = None
    passes: int | None = None
    letter: str = ""
    sexes: tuple[int, int, int, int] | None = None
    seen: Mapping[str, Seen] = field(default_factory=dict)
    written_name: str = ""
    unit: str = "animal"
    party: str = ""
    method: str = ""
    remark: str = ""
    origin: str = ""

    @property
    def number(self) -> int | None:
        """The number counted: as written, else the sum of the sexes, else how many were seen."""
        if self.value is not None:
            return self.value
        if self.sexes is not None:
            return sum(self.sexes)
        if self.seen and not self.letter:
            return sum(1 for seen in self.seen.values() if seen is Seen.SEEN)
        return None

    @property
    def blank(self) -> bool:
        return self.number is None and not self.letter
