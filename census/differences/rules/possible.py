"""A possible cause of a difference with what speaks for it, ready to be weighed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from .causes import DEFAULTS, Cause, cost_of, cost_of_size
from .facts import HouseFacts, Line
from .model import Candidate


@dataclass(frozen=True, slots=True)
class Hints:
    """What a person would state if they agreed, as far as the evidence tells it.

    ``event``: the entry to take back. ``place``: where the animals went. ``since``: from when it may
    have happened, ``until``: up to when. ``due`` of a notice or of young that count later.
    """

    event: str = ""
    accessions: tuple[str, ...] = ()
    to_accession: str = ""
    place: str = ""
    since: datetime | None = None
    until: datetime | None = None
    last_seen: date | None = None
    due: date | None = None
    from_sex: str = ""
    to_sex: str = ""
    reason: str = ""
    happened: str = ""


@dataclass(frozen=True, slots=True)
class Possible:
    """``evidence``: in words, strongest first. ``recount``: the thing to do is to count again."""

    candidate: Candidate
    cause: Cause
    evidence: tuple[str, ...]
    hints: Hints = Hints()
    recount: bool = False

    @property
    def words(self) -> str:
        return "; ".join(self.evidence)


def possible(
    cause: Cause,
    house: HouseFacts,
    *evidence: str,
    on: Line | None = None,
    gains: Line | None = None,
    loses: Line | None = None,
    most: int,
    share: float = 1.0,
    mean: float | None = None,
    whole: bool = False,
    name: str = "",
    hints: Hints | None = None,
    recount: bool = False,
) -> Possible:
    """A possible cause, priced: its share in the house's history times ``share``, and its size.

    ``share``: what evidence does to it, 1 where the table's figure holds as it is. ``mean``: animals
    expected, where the line says better than the table. ``on``: the only line, whichever way it differs.
    """
    if on is not None:
        gains, loses = (on, None) if on.difference > 0 else (None, on)
    prior = DEFAULTS[cause]
    size_fixed, each = (0, 0) if whole else cost_of_size(mean or prior.mean)
    ends = " > ".join(line.key for line in (loses, gains) if line)
    return Possible(
        Candidate(
            key=" / ".join(part for part in (cause.name.lower(), ends, name) if part),
            gains=gains.key if gains else "",
            loses=loses.key if loses else "",
            fixed=cost_of(house.history.of_1000(cause) * share) + size_fixed,
            each=each,
            most=max(most, 1),
            least=most if whole else 1,
            whole=whole,
        ),
        cause,
        tuple(text for text in evidence if text),
        hints or Hints(),
        recount,
    )


def usual_size(line: Line, mean: float) -> float:
    """Mean of a number that grows with what is held: at least ``mean``, a twentieth of a big group."""
    return max(mean, abs(line.book) / 20)


def found(*lists: Iterable[Possible]) -> list[Possible]:
    """All of them in one list."""
    return [one for some in lists for one in some]
