"""Which picture a taxon and a lot have now."""

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Q, QuerySet
from django.urls import reverse

from inventory.book.models import Document, Lot
from inventory.book.pictured import Shown
from inventory.names.models import Taxon

from ..models import Picture


@dataclass(frozen=True, slots=True)
class Thumbnails:
    """SHA-256 of the thumbnail by id of the taxon and of the lot."""

    of_taxa: dict[int, str]
    of_lots: dict[int, str]

    def of(self, lot: Lot) -> str:
        """The lot's own, else its taxon's; "" when neither has one."""
        return self.of_lots.get(lot.pk) or self.of_taxa.get(lot.taxon_id, "")


def thumbnails(lots: Collection[Lot]) -> Thumbnails:
    """Those of the lots and of their taxa, in one query."""
    found = Thumbnails({}, {})
    wanted, taxa = {lot.pk for lot in lots}, {lot.taxon_id for lot in lots}
    # Pictures are few, and a house has more lots than a query takes parameters.
    rows = Picture.objects.order_by("pk").values_list("taxon_id", "lot_id", "thumbnail__sha256")
    for taxon, lot, sha256 in rows:
        if taxon is not None and taxon in taxa:
            found.of_taxa[taxon] = sha256 or ""
        elif lot is not None and lot in wanted:
            found.of_lots[lot] = sha256 or ""
    return found


def picture_of(taxon: Taxon, lot: Lot | None) -> Shown | None:
    """The picture of the lot, else of the taxon, as a page shows it; one query."""
    about = Q(taxon=taxon) | Q(lot=lot) if lot else Q(taxon=taxon)
    newest: dict[str, Picture] = {}
    for one in Picture.objects.filter(about).select_related("document").order_by("pk"):
        newest["lot" if one.lot_id else "taxon"] = one
    for which in ("lot", "taxon"):
        if which in newest and (document := newest[which].document):
            return _shown(newest[which], document)
    return None


def pictures_of(of: Taxon | Lot) -> QuerySet[Picture]:
    """All that was said, the newest first."""
    rows = Picture.objects.select_related("document", "thumbnail", "stated_by").order_by("-pk")
    return rows.filter(lot=of) if isinstance(of, Lot) else rows.filter(taxon=of)


def file_of_picture(sha256: str, *, thumbnails_only: bool = False) -> Document | None:
    """The kept file with this hash if it is of a picture, and no other paper of the house."""
    used = Q(thumbnail__sha256=sha256)
    if not thumbnails_only:
        used |= Q(document__sha256=sha256)
    return Document.objects.filter(sha256=sha256).first() if Picture.objects.filter(used).exists() else None


def _shown(one: Picture, document: Document) -> Shown:
    url = reverse("picture", args=[document.sha256])
    return Shown(url, one.width, one.height, one.alt, one.credit, document.sha256)
