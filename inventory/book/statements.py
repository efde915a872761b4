"""Papers that a closing keeps: what was signed, byte for byte.

The book does not know of censuses and reports: a room above registers, when Django is ready, a
function that writes its papers about a closing::

    statements.ask(papers_of_a_census)
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import tzinfo

from .models import PeriodVersion

# Papers that a restatement is read from, whoever writes them.
FIGURES = "population change"
PRINTED = "population change, printed"
PAGES = "population change, pages"
CHANGED = "changed figures"


@dataclass(frozen=True, slots=True)
class Paper:
    """One paper: the same version gives the same bytes."""

    name: str
    media_type: str
    content: bytes


Writes = Callable[[PeriodVersion, tzinfo], Iterable[Paper]]

_ASKED: list[Writes] = []


def ask(writes: Writes) -> None:
    """Registers ``writes``; papers are kept in the order in which the rooms were registered."""
    if writes not in _ASKED:
        _ASKED.append(writes)


def papers_of(version: PeriodVersion, zone: tzinfo) -> list[Paper]:
    """All papers about a closing that has just been made."""
    return [paper for writes in _ASKED for paper in writes(version, zone)]
