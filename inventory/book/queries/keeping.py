"""Whose tanks: the places that a person keeps on a day, with all that is below them."""

from collections.abc import Mapping
from datetime import date

from django.conf import settings
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from inventory.doors import clock
from inventory.people.models import Person
from inventory.people.queries import roles_of
from inventory.people.rules.roles import Role

from ..models import Keeping, Place
from ..rules.place_tree import with_descendants


def places_kept(keeper: Person, *, on: date) -> frozenset[int]:
    """Ids of the places of ``keeper`` on a day, those below them included. Two queries."""
    tops = set(_on(on).filter(keeper=keeper).values_list("place_id", flat=True))
    return with_descendants(tops, dict(Place.objects.values_list("pk", "parent_id")))


def keeps_any(person: Person, *, on: date) -> bool:
    """Whether the person keeps a place on a day. One query."""
    return _on(on).filter(keeper=person).exists()


def keepers_of(place: Place, *, on: date) -> list[Person]:
    """Who keeps a place on a day, by name; the keepers of the places above it count too."""
    parents = dict(Place.objects.values_list("pk", "parent_id"))
    above = _upwards(place.pk, parents)
    return list(Person.objects.filter(keepings__in=_on(on).filter(place__in=above)).distinct())


def keepings_of(place: Place) -> list[Keeping]:
    """Who keeps and kept a place and those above it, the newest first. Two queries."""
    above = _upwards(place.pk, dict(Place.objects.values_list("pk", "parent_id")))
    rows = Keeping.objects.filter(place__in=above).select_related("keeper", "place")
    return list(rows.order_by(F("until").desc(nulls_first=True), "-since", "keeper__name"))


def _upwards(place: int, parents: Mapping[int, int | None]) -> set[int]:
    above: set[int] = set()
    at: int | None = place
    while at is not None and at not in above:
        above.add(at)
        at = parents[at]
    return above


def _on(day: date) -> QuerySet[Keeping]:
    return Keeping.objects.filter(Q(until__isnull=True) | Q(until__gte=day), since__lte=day)


# Who is limited to the own tanks where the house wants it; any other role sees them all.
_LIMITED = frozenset({Role.COUNTER, Role.AQUARIST})


def places_of_others(person: Person) -> frozenset[int]:
    """Ids of the places whose numbers a keeper or counter may not see, for they keep them not.

    None unless the house has turned it on (``TIDETALLY_BY_TANK``). Three queries, else none.
    """
    if not settings.BY_TANK or person.user is None or not roles_of(person.user) <= _LIMITED:
        return frozenset()
    own = places_kept(person, on=timezone.localdate(clock.now()))
    return frozenset(Place.objects.exclude(pk__in=own).values_list("pk", flat=True))
