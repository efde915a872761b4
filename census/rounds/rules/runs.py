"""What several censuses say together: drifts, minimum counts, letters, animals not seen."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from .settings import DEFAULTS, CensusSettings
from .words import SACFOR


@dataclass(frozen=True, slots=True)
class Earlier:
    """One line in one census: count minus book, and whether only a minimum was counted."""

    census: str
    difference: int | None
    at_least: bool = False


def drifts(newest_first: Sequence[Earlier], settings: CensusSettings = DEFAULTS) -> int:
    """+1 or -1 when the newest run of censuses all lie on that side of the book, else 0."""
    run = newest_first[: settings.drift_run_length]
    if len(run) < settings.drift_run_length:
        return 0
    signs = {_sign(one.difference) for one in run}
    return signs.pop() if len(signs) == 1 else 0


def contradicts_drift(newest_first: Sequence[Earlier], settings: CensusSettings = DEFAULTS) -> str:
    """The census that speaks against a stated drift; empty when none that the house has does."""
    run = newest_first[: settings.drift_run_length]
    if not run or not _sign(run[0].difference):
        return ""
    return next((one.census for one in run if _sign(one.difference) != _sign(run[0].difference)), "")


def full_count_due(newest_first: Sequence[Earlier], settings: CensusSettings = DEFAULTS) -> bool:
    """True when a whole run of censuses had minimum counts only: drain, or count at night."""
    run = newest_first[: settings.minimum_count_run_length]
    return len(run) == settings.minimum_count_run_length and all(one.at_least for one in run)


def letter_steps(before: str, now: str) -> int:
    """How many letters of the scale lie between; 0 when either is none of them."""
    if before not in SACFOR or now not in SACFOR:
        return 0
    return abs(SACFOR.index(before) - SACFOR.index(now))


class NotSeen(StrEnum):
    """How far the search for one individual is."""

    SEARCH = "search"
    QUERY = "query to the curator"


@dataclass(frozen=True, slots=True)
class Search:
    """``search_until`` is the last day of the search; ``write_off_from`` the first for writing it off."""

    stage: NotSeen
    search_until: date
    write_off_from: date


def search_for(
    *, last_seen: date, missed_on: date, censuses: int, today: date, settings: CensusSettings = DEFAULTS
) -> Search:
    """Where the search for an individual stands.

    ``missed_on``: the first roll-call that did not find it; ``censuses``: how many in a row did not.
    """
    asked = (
        censuses >= settings.individual_not_seen_censuses
        or (today - missed_on).days >= settings.individual_not_seen_days
    )
    return Search(
        stage=NotSeen.QUERY if asked else NotSeen.SEARCH,
        search_until=missed_on + timedelta(days=settings.individual_search_days),
        write_off_from=write_off_from(last_seen, settings),
    )


def write_off_from(last_seen: date, settings: CensusSettings = DEFAULTS) -> date:
    """The first day on which an animal last seen then may be written off as unaccounted for."""
    return last_seen + timedelta(days=settings.write_off_earliest_days)


def _sign(n: int | None) -> int:
    return 0 if not n else (1 if n > 0 else -1)
