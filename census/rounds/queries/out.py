"""Which sheets a census still waits for."""

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from ..models import Census, Line, Sheet
from ..rules.states import SHEETS_IN
from ..rules.words import SheetForm

_IN = [state.value for state in SHEETS_IN]


def sheets_out(census: Census) -> QuerySet[Sheet]:
    """Those that are not in, but a letter without lines: who holds nothing of ours has nothing to answer.

    A sheet of a place in the house is waited for though it is empty: an empty tank is looked at, for that is
    how strays and settlers are found.
    """
    return Sheet.objects.filter(census=census).exclude(state__in=_IN).exclude(_empty_letter("", "pk"))


def censuses_with_sheets() -> QuerySet[Census]:
    """Every census, newest first, with ``sheets_in`` of ``sheets_all``: those that are in, and with them
    those that are out. One query."""
    is_in = Q(sheets__state__in=_IN)
    counted = Census.objects.select_related("period", "version").annotate(
        sheets_in=Count("sheets", filter=is_in),
        sheets_all=Count("sheets", filter=is_in | ~_empty_letter("sheets__", "sheets")),
    )
    # The order of the model does not hold where rows are grouped.
    return counted.order_by("-cutoff", "code")


def _empty_letter(prefix: str, sheet: str) -> Q:
    """A letter without lines, told of ``sheet``, whose fields are called with ``prefix``."""
    return Q(~Exists(Line.objects.filter(sheet=OuterRef(sheet))), **{f"{prefix}form": SheetForm.LETTER.value})
