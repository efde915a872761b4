"""Plans a census: the period is made where the book does not have it yet."""

from collections.abc import Sequence
from datetime import datetime, tzinfo

from django.db import transaction

from inventory.book.actions.periods import add_period
from inventory.book.models import Place
from inventory.people.models import Person

from ..models import Census
from ..models.census import EVERY_CLASS
from .opening import open_census
from .refused import CensusRefused


@transaction.atomic
def open_census_of(
    *,
    period: str,
    places: Sequence[Place],
    by: Person,
    now: datetime,
    zone: tzinfo,
    code: str = "",
    classes: str = EVERY_CLASS,
    keepers_count: bool = False,
) -> Census:
    """Opens the census of the period called ``2026 Q4`` or ``2026``, and makes that period if need be.

    Raises :class:`CensusRefused`; then no period was made either.
    """
    try:
        found, _ = add_period(period)
    except ValueError as error:
        raise CensusRefused(str(error)) from error
    return open_census(
        period=found,
        places=places,
        by=by,
        now=now,
        zone=zone,
        code=code,
        classes=classes,
        keepers_count=keepers_count,
    )
