"""Which sheets a census still waits for."""

from django.db.models import Exists, OuterRef, QuerySet

from ..models import Census, Line, Sheet
from ..rules.states import SHEETS_IN
from ..rules.words import SheetForm


def sheets_out(census: Census) -> QuerySet[Sheet]:
    """Those that are not in, but a letter without lines: who holds nothing of ours has nothing to answer.

    A sheet of a place in the house is waited for though it is empty: an empty tank is looked at, for that is
    how strays and settlers are found.
    """
    lines = Line.objects.filter(sheet=OuterRef("pk"))
    return (
        Sheet.objects.filter(census=census)
        .exclude(state__in=[state.value for state in SHEETS_IN])
        .exclude(~Exists(lines), form=SheetForm.LETTER.value)
    )
