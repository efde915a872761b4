"""Under which names a report is printed: those of a release, or those of a closing."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from django.utils.timezone import localtime

from inventory.names.models import Taxon
from inventory.names.queries.as_of import taxa_as_of, taxa_of_moved_lots
from inventory.names.queries.eras import UnknownRelease, left_at, release_called, release_in_use_at

from ..models import Lot, PeriodVersion

CLOSING = "closing"


class NoSuchNames(ValueError):
    """There are no such names to print under; the text says what there is."""


@dataclass(frozen=True, slots=True)
class PrintedNames:
    """Taxa as they are printed, by number, and ``words`` for the head.

    ``taxon_of_lot`` is where lots stood that have moved since; ``one_row`` leads taxa that print the
    same name to one of them.
    """

    words: str
    taxa: Mapping[int, Taxon]
    taxon_of_lot: Mapping[int, int]
    one_row: Mapping[int, int]

    def taxon_of(self, lot_id: int, taxon_id: int) -> int:
        """The taxon in whose row a lot stands; ``taxon_id`` is where it stands now."""
        return self.one_row[self.taxon_of_lot.get(lot_id, taxon_id)]


def printed_names(asked: str, *, closing: PeriodVersion | None = None) -> PrintedNames | None:
    """Names of the release called ``asked``, or at ``closing`` for the word "closing"; none for "".

    Of a release they are the names at the end of its use; of the one in use, those of now. At most
    eight queries. Raises :class:`NoSuchNames`.
    """
    if not asked:
        return None
    if asked == CLOSING:
        return _at_closing(closing)
    try:
        release = release_called(asked)
        moment = left_at(release)
    except UnknownRelease as error:
        raise NoSuchNames(str(error)) from None
    until = f"as they stood when it went out of use, {_day(moment)}" if moment else "in use now"
    return _as_of(moment, f"names of {release}, {until}")


def closing_of(day: date, *, known_at: datetime | None = None) -> PeriodVersion | None:
    """The newest closing of a period that ends on ``day``, of those that existed at ``known_at``."""
    versions = PeriodVersion.objects.select_related("period").filter(period__ends_on=day)
    if known_at is not None:
        versions = versions.filter(closed_at__lte=known_at)
    return versions.order_by("-closed_at", "-number").first()


def _at_closing(closing: PeriodVersion | None) -> PrintedNames:
    if closing is None:
        raise NoSuchNames(
            "No closing counts at the end of this period, so there are no names of a closing. "
            "Give a release, or leave the names as they are now."
        )
    release = release_in_use_at(closing.closed_at)
    of_release = f", then of {release}" if release else ""
    words = f"names as they stood at the closing {closing}, {_day(closing.closed_at)}{of_release}"
    return _as_of(closing.closed_at, words)


def _as_of(moment: datetime | None, words: str) -> PrintedNames:
    taxa = taxa_as_of(moment)
    stood = taxa_of_moved_lots(moment)
    lots = Lot.objects.filter(accession__in=stood).values_list("pk", "accession") if stood else ()
    by_name: dict[str, int] = {}
    for taxon_id, taxon in sorted(taxa.items(), key=lambda one: (one[1].joined_into_id is not None, one[0])):
        by_name.setdefault(taxon.scientific_name, taxon_id)
    return PrintedNames(
        words=words,
        taxa=taxa,
        taxon_of_lot={lot_id: stood[accession] for lot_id, accession in lots},
        one_row={taxon_id: by_name[taxon.scientific_name] for taxon_id, taxon in taxa.items()},
    )


def _day(moment: datetime) -> str:
    return f"{localtime(moment):%Y-%m-%d %H:%M}"
