"""Where animals can leave unseen, and which kinds hunt the others that live with them."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

from django.db.models import Q

from ..models import Cell, Place, WayOut
from ..rules.hunters import HUNTERS


def ways_out_of(place: Place) -> list[WayOut]:
    """Of one place, those that are open first, then the newest. One query."""
    rows = WayOut.objects.filter(place=place).select_related("noted_by", "shut_by")
    return sorted(rows.order_by("-since", "-pk"), key=lambda one: one.until is not None)


def open_ways_out(first: date, last: date) -> Mapping[int, Sequence[WayOut]]:
    """By place, those that were open on a day of the span. One query."""
    found: defaultdict[int, list[WayOut]] = defaultdict(list)
    rows = WayOut.objects.filter(Q(until=None) | Q(until__gte=first), since__lte=last)
    for one in rows.order_by("since", "pk"):
        found[one.place_id].append(one)
    return found


def hunters_by_place() -> Mapping[int, Sequence[str]]:
    """By place, the kinds held there now that hunt others with them, by name. One query."""
    found: defaultdict[int, list[str]] = defaultdict(list)
    held = Cell.objects.filter(inside=True, balance__gt=0, lot__taxon__family__in=HUNTERS)
    pairs = held.values_list("account__place_id", "lot__taxon__scientific_name").distinct()
    for place, name in pairs.order_by("account__place_id", "lot__taxon__scientific_name"):
        found[place].append(name)
    return found
