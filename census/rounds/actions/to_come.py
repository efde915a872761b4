"""Says that a count outside of sheets is about to be made, so that its quiet time begins."""

from datetime import datetime

from django.db import transaction

from inventory.people.models import Person

from ..models import CountToCome, Draw
from ..queries.spots import Spot
from ..rules.who import COUNTERS, SAMPLES
from .allowed import require
from .refused import CensusRefused


@transaction.atomic
def spot_to_come(
    *, spot: Spot, planned_at: datetime, by: Person, now: datetime, counter: Person | None = None
) -> CountToCome:
    """``counter`` (else ``by``) counts the animals of a spot at ``planned_at``, blind until then."""
    counter = counter or by
    require(counter, COUNTERS, "count on the spot")
    if planned_at < now:
        raise CensusRefused("A count to come lies ahead; say now, or a moment after it.")
    return CountToCome.objects.create(
        place=spot.place,
        taxon=spot.lots[0].taxon,
        unit=spot.unit,
        counter=counter,
        planned_at=planned_at,
        said_by=by,
        said_at=now,
    )


@transaction.atomic
def sample_to_come(*, draw: Draw, by: Person, now: datetime) -> list[CountToCome]:
    """``by`` looks at what is left of a sample from now on, and does not see the places drawn meanwhile."""
    require(by, SAMPLES, "look at a sample")
    places = set(draw.lines.filter(result=None).values_list("place", flat=True))
    there = set(CountToCome.objects.filter(draw=draw, counter=by).values_list("place", flat=True))
    if not places:
        raise CensusRefused("Everything that was drawn has its result.")
    return CountToCome.objects.bulk_create(
        CountToCome(place_id=place, draw=draw, counter=by, planned_at=now, said_by=by, said_at=now)
        for place in sorted(places - there)
    )
