"""What stands on the labels of places and lots."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Q

from inventory.book.models import Lot, Place, PlaceKind
from inventory.names.queries.lists import cautions_in, listings_of

from ..rules.labels import Label
from ..rules.qr import address_of_lot, address_of_place


class NotThere(ValueError):
    """Codes or accession numbers that the book does not know; the message names them."""


@dataclass(frozen=True, slots=True)
class Offered:
    """Places and lots that a search found. ``more``: there are more lots than are shown."""

    places: list[Place]
    lots: list[Lot]
    more: bool


LOTS_SHOWN = 100
# A tank in somebody else's hands carries their label.
OPEN_HERE = Q(closed_on=None) & ~Q(kind=PlaceKind.OFF_SITE)


def offered(text: str, *, places: Sequence[str] = (), lots: Sequence[str] = ()) -> Offered:
    """Open places and lots that hold something, whose code, number or name holds every word of ``text``.

    Those named in ``places`` and ``lots`` are always among them. No lots without a word: there are
    thousands. Two queries.
    """
    words = text.split()
    open_places, held = OPEN_HERE, Q(held__gt=0) if words else Q(pk__in=())
    for word in words:
        open_places &= Q(code__icontains=word) | Q(name__icontains=word)
        held &= (
            Q(accession__icontains=word)
            | Q(house_name__icontains=word)
            | Q(taxon__scientific_name__icontains=word)
            | Q(taxon__common_name__icontains=word)
        )
    found = list(
        Lot.objects.filter(held | Q(accession__in=lots))
        .select_related("taxon")
        .order_by("taxon__scientific_name", "accession")[: LOTS_SHOWN + 1 + len(lots)]
    )
    shown = LOTS_SHOWN + len(lots)
    return Offered(
        places=list(Place.objects.filter(open_places | Q(code__in=places)).order_by("code")),
        lots=found[:shown],
        more=len(found) > shown,
    )


def labels_of(*, places: Sequence[str] | None, lots: Sequence[str], site: str) -> list[Label]:
    """Labels in the order in which they were asked for, places first; None: of all open places of ours.

    ``site`` is the address under which devices reach the house. A lot's label says what is dangerous
    about its animals; a tank's does not, for it stays when the animals go. Raises :class:`NotThere`.
    """
    if places is None:
        chosen = list(Place.objects.filter(OPEN_HERE).order_by("code"))
    else:
        found = Place.objects.in_bulk(list(places), field_name="code")
        _all_there("place", places, found)
        chosen = [found[code] for code in places]
    held = Lot.objects.select_related("taxon").in_bulk(list(lots), field_name="accession")
    _all_there("lot", lots, held)
    taxa = {lot.taxon for lot in held.values()}
    listings = listings_of(taxa)
    cautions = {
        taxon.pk: "; ".join(one.words for one in cautions_in({taxon: listings[taxon.pk]})) for taxon in taxa
    }
    return [
        *(Label(address_of_place(site, place.code), place.code, place.name) for place in chosen),
        *(_of_lot(held[accession], cautions[held[accession].taxon_id], site) for accession in lots),
    ]


def _of_lot(lot: Lot, caution: str, site: str) -> Label:
    taxon = lot.taxon
    own = ", ".join(filter(None, (f"“{lot.house_name}”" if lot.house_name else "", lot.marks)))
    name, more = (
        (taxon.common_name, (taxon.scientific_name, own))
        if taxon.common_name
        else (taxon.scientific_name, (own,))
    )
    return Label(
        address_of_lot(site, lot.accession),
        lot.accession,
        name,
        tuple(filter(None, more)),
        f"Caution: {caution}" if caution else "",
    )


def _all_there(what: str, asked: Sequence[str], found: dict[str, Place] | dict[str, Lot]) -> None:
    missing = [code for code in asked if code not in found]
    if missing:
        raise NotThere(
            f"The book knows no {what} {', '.join(missing)}; look it up on the page Places or Lots."
        )
