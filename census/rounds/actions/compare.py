"""Puts the counts beside the book."""

from datetime import datetime

from django.db import transaction

from inventory.people.models import Person

from ..models import Census
from ..queries.reading import Row, read_census
from ..rules.settings import CensusSettings
from ..rules.who import DECIDES
from ..rules.words import CensusState
from .allowed import require
from .moving import move_census, running
from .refused import CensusRefused


@transaction.atomic
def compare_counts(
    *, census: Census, by: Person, now: datetime, settings: CensusSettings | None = None
) -> list[Row]:
    """Compares what is counted so far; the census goes to *comparing*. More counts may follow."""
    require(by, DECIDES, "compare the counts with the book")
    census = running(census)
    if census.state in (CensusState.PLANNED, CensusState.ISSUED):
        raise CensusRefused(f"Nothing is counted yet: the census {census.code} is {census.state}.")
    move_census(census, CensusState.COMPARING)
    return read_census(census, settings=settings)
