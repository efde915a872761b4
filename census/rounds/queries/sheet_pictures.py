"""The small pictures that a printed count sheet shows beside the names: look-alikes are told apart."""

from collections.abc import Iterable, Mapping

from inventory.book.queries.documents import read_document
from inventory.tankside.models import Picture

from .blind import BlindSheet

Pictures = Mapping[str, bytes]


def small_pictures(sheets: Iterable[BlindSheet]) -> Pictures:
    """The newest picture of each taxon on the sheets, by scientific name; one query. A taxon without one, or
    whose kept file is gone or altered, is left out: the sheet is printed all the same."""
    wanted = {line.name for sheet in sheets for line in sheet.lines}
    rows = Picture.objects.filter(taxon__isnull=False).select_related("thumbnail", "taxon").order_by("pk")
    newest = {one.taxon.scientific_name: one.thumbnail for one in rows if one.taxon}
    found = {}
    for name in sorted(wanted & newest.keys()):
        kept = newest[name]
        if kept is None:
            continue
        try:
            found[name] = read_document(kept)
        except ValueError:
            continue
    return found
