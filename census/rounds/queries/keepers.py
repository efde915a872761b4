"""Who keeps which places: whom a sheet may be given to. Two queries."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from django.db.models import Q

from inventory.book.models import Keeping, Place


def keepers_of(places: Iterable[Place], *, today: date) -> dict[int, frozenset[int]]:
    """By place, the people of the house who keep it on that day; who keeps a place keeps what is in it.

    Those who have left, or have no sign-in, count nothing.
    """
    above = dict(Place.objects.values_list("pk", "parent"))
    keeping = Keeping.objects.filter(Q(until=None) | Q(until__gte=today), since__lte=today)
    keeping = keeping.filter(keeper__left_on=None, keeper__user__isnull=False)
    kept: dict[int | None, set[int]] = defaultdict(set)
    for at, keeper in keeping.values_list("place", "keeper"):
        kept[at].add(keeper)
    found: dict[int, frozenset[int]] = {}
    for place in places:
        people: set[int] = set()
        up: int | None = place.pk
        while up is not None:
            people |= kept[up]
            up = above.get(up)
        found[place.pk] = frozenset(people)
    return found
