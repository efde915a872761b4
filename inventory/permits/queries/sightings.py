"""Marked animals that were seen, as evidence of whose the animals of a pool are."""

from collections import defaultdict
from collections.abc import Collection
from datetime import datetime

from django.db.models import Q

from inventory.book.models import Cell, Lot
from inventory.book.models.cells import Sex, Standing

from ..models import Sighting


def sightings_of(
    lots: Collection[int], *, before: datetime, known_at: datetime | None = None
) -> list[Sighting]:
    """Those of ``lots`` before ``before`` that hold, in the order of their moments. One query."""
    found = Sighting.objects.select_related("permit", "cell").filter(
        cell__lot__in=lots, effective_at__lt=before
    )
    if known_at is None:
        found = found.filter(withdrawn=None)
    else:
        holds = Q(withdrawn=None) | Q(withdrawn__at__gt=known_at)
        found = found.filter(holds, entered_at__lte=known_at)
    return list(found.order_by("effective_at", "id"))


def sightings_shown(lot: Lot) -> list[Sighting]:
    """All that were ever entered of a lot, the newest first. One query."""
    related = ("permit", "cell__account__place", "entered_by", "withdrawn__by")
    found = Sighting.objects.select_related(*related).filter(cell__lot=lot)
    return list(found.order_by("-effective_at", "-id"))


def cells_in_tanks(lot: Lot) -> list[tuple[int, str]]:
    """Where animals of the lot are or were, in words: a choice for who saw one. One query."""
    cells = Cell.objects.select_related("account__place").filter(
        lot=lot, inside=True, standing=Standing.PRESENT
    )
    return [(cell.pk, cell_words(cell)) for cell in cells.order_by("account__place__code", "sex", "stage")]


def cells_called(lots: Collection[str], places: Collection[str]) -> dict[tuple[str, str], list[Cell]]:
    """Where animals of these lots are or were in these places, by accession number and code. One query."""
    cells = Cell.objects.select_related("lot", "account__place").filter(
        lot__accession__in=lots, account__place__code__in=places, inside=True, standing=Standing.PRESENT
    )
    called: defaultdict[tuple[str, str], list[Cell]] = defaultdict(list)
    for cell in cells.order_by("sex", "stage"):
        assert cell.account.place is not None
        called[cell.lot.accession, cell.account.place.code].append(cell)
    return called


def cell_words(cell: Cell) -> str:
    """ "E02, Kelp Hall: male, adult"; a sex that is not known is not said."""
    place = cell.account.place
    assert place is not None
    of = ", ".join(words for words in ("" if cell.sex == Sex.UNKNOWN else cell.sex, cell.stage) if words)
    called = f"{place.code}, {place.name}" if place.name else place.code
    return f"{called}: {of}" if of else called
