"""Keeps a count of class A on the spot; it never moves the book by itself."""

from datetime import datetime, timedelta

from django.db import transaction

from inventory.book.queries.quantities import Point, held_at
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import SpotCount
from ..queries.approvers import roles_held
from ..queries.reading import present
from ..queries.spots import Spot
from ..rules.who import COUNTS, is_volunteer
from .allowed import require
from .refused import CensusRefused

_COUNTERS = tuple(role for role in COUNTS if role is not Role.TYPIST)


@transaction.atomic
def count_spot(
    *,
    spot: Spot,
    value: int,
    by: Person,
    now: datetime,
    second: Person | None = None,
    note: str = "",
) -> SpotCount:
    """Keeps what ``by`` and ``second`` counted together now, with the book at that moment.

    Without a second counter the note says why there was none. Raises :class:`CensusRefused`.
    """
    require(by, _COUNTERS, "count on the spot")
    if is_volunteer(roles_held(by)):
        raise CensusRefused(f"{by.name} is a trained volunteer, who counts classes B and C.")
    if second is not None and second.pk == by.pk:
        raise CensusRefused(f"{by.name} cannot be the second counter of their own count.")
    if second is None and not note.strip():
        raise CensusRefused("Class A has two counters: name the second, or say why there was none.")
    points = [Point(lot.pk, spot.place.pk, now + timedelta(minutes=1)) for lot in spot.lots]
    made = SpotCount.objects.create(
        place=spot.place,
        taxon=spot.lots[0].taxon,
        unit=spot.unit,
        counted_at=now,
        value=value,
        book=sum(present(held) for held in held_at(points)),
        counter=by,
        second=second,
        note=note.strip()[:300],
        typed_at=now,
    )
    made.lots.add(*spot.lots)
    return made
