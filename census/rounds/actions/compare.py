"""Puts the counts beside the book."""

from datetime import UTC, datetime, tzinfo

from django.db import transaction

from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import Census
from ..queries.reading import Row, read_census
from ..queries.runs import not_seen
from ..queries.settings import settings_of
from ..rules.runs import NotSeen
from ..rules.settings import CensusSettings
from ..rules.who import DECIDES
from ..rules.words import CensusState, NoticeKind
from .allowed import require
from .first_compared import keep_first_compared
from .moving import move_census, running
from .refused import CensusRefused
from .telling import tell


@transaction.atomic
def compare_counts(
    *,
    census: Census,
    by: Person,
    now: datetime,
    zone: tzinfo = UTC,
    settings: CensusSettings | None = None,
) -> list[Row]:
    """Compares what is counted so far; the census goes to *comparing*. More counts may follow.

    What the book had beside the first counts is kept: their accuracy is a fact of that day.
    """
    require(by, DECIDES, "compare the counts with the book")
    census = running(census)
    if census.state in (CensusState.PLANNED, CensusState.ISSUED):
        raise CensusRefused(f"Nothing is counted yet: the census {census.code} is {census.state}.")
    move_census(census, CensusState.COMPARING)
    if census.compared_at is None:
        census.compared_at = now
        census.save(update_fields=["compared_at"])
    settings = settings or settings_of(census)
    _ask_the_curator(census, settings, by=by, now=now, zone=zone)
    rows = read_census(census, settings=settings)
    keep_first_compared(rows, now=now)
    return rows


def _ask_the_curator(
    census: Census, settings: CensusSettings, *, by: Person, now: datetime, zone: tzinfo
) -> None:
    """Individuals that were searched long enough, or missed by two censuses, go to the curator."""
    for missed in not_seen(census, settings, now=now, zone=zone):
        if missed.search.stage is NotSeen.QUERY:
            words = (
                f"{missed.called}{missed.known_of}; "
                f"it may be written off from {missed.search.write_off_from} on."
            )
            tell(Role.CURATOR, NoticeKind.NOT_SEEN, words, by=by, now=now, line=missed.line)
