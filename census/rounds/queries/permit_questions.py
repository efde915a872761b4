"""Questions of a census about animals that a permit officer reports on."""

from collections.abc import Collection

from django.db.models import Q

from inventory.permits.questions import Question

from ..models import Census
from ..rules.words import CensusState, How
from .running import running
from .searching import asks


def open_questions(lots: Collection[int]) -> list[Question]:
    """Lines with these lots that the running censuses, or the newest one, settled by a question. Two queries.

    No number stands here: who reads it may be counting the tank.
    """
    newest = Census.objects.exclude(state=CensusState.ABANDONED.value).order_by("-cutoff", "-pk")[:1]
    asked = (
        asks()
        .filter(Q(line__sheet__census__in=running()) | Q(line__sheet__census__in=list(newest)))
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
