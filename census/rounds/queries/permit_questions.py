"""Questions of a census about animals that a permit officer reports on."""

from collections.abc import Collection

from django.db.models import Exists, OuterRef, Q

from inventory.permits.questions import Question

from ..models import Census, Decision
from ..rules.words import CensusState, How

_DONE = (CensusState.CLOSED.value, CensusState.ABANDONED.value)


def open_questions(lots: Collection[int]) -> list[Question]:
    """Lines with these lots that the running censuses, or the newest one, settled by a question. Two queries.

    No number stands here: who reads it may be counting the tank.
    """
    later = Decision.objects.filter(line=OuterRef("line"), pk__gt=OuterRef("pk"))
    newest = Census.objects.exclude(state=CensusState.ABANDONED.value).order_by("-cutoff", "-pk")[:1]
    running = Census.objects.exclude(state__in=_DONE)
    asked = (
        Decision.objects.filter(~Exists(later), how__in=(How.OPEN_QUERY.value, How.MISSING.value))
        .filter(Q(line__sheet__census__in=running) | Q(line__sheet__census__in=list(newest)))
        .filter(line__lots__in=lots)
        .order_by("line_id")
    )
    found = asked.values_list(
        "line__lots", "line__place__code", "line__taxon__scientific_name", "how", "line__sheet__number"
    )
    return [
        Question(lot, f"{place}, {name}: {How(how).words}", "sheet", (sheet,))
        for lot, place, name, how, sheet in found
    ]
