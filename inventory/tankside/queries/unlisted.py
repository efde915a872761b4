"""Animals on no list: which wait for the registrar, what they were found to be, and whom that concerns."""

from collections.abc import Collection

from django.db.models import Case, QuerySet, Value, When
from django.utils import timezone

from inventory.book.models import Lot, LotKind
from inventory.book.rules.found_as import FOLLOWS_AS, FoundAs
from inventory.names.models import Taxon

from ..models import Entry, Outcome, UnlistedFinding
from ..rules.unlisted import bears, for_the_form

LOTS_SHOWN = 20
# No key has so many; Python refuses to read thousands of them as a number.
_DIGITS = 20
_WAITS = {"for_permit_officer": True, "replaced_by": None, "seen": None}


def unlisted() -> QuerySet[Entry]:
    """Those that nobody has looked into, the oldest first."""
    return (
        written_in()
        .filter(set_aside=None, findings=None, undone_by=None)
        .select_related("person", "device", "place")
        .order_by("id")
    )


def written_in() -> QuerySet[Entry]:
    """Every entry of an animal on no list."""
    return Entry.objects.filter(outcome=Outcome.SENT, body__unlisted=True)


def findings(*, hidden: Collection[int] = ()) -> QuerySet[UnlistedFinding]:
    """All answers: those that wait for the permit officer first, then the newest."""
    waits = Case(When(**_WAITS, then=Value(0)), default=Value(1))
    return _told().exclude(entry__place__in=hidden).order_by(waits, "-id")


def to_be_seen(*, hidden: Collection[int] = ()) -> QuerySet[UnlistedFinding]:
    """What the permit officer has not seen yet, the oldest first."""
    return _told().filter(**_WAITS).exclude(entry__place__in=hidden).order_by("id")


def findings_of(entry: Entry) -> QuerySet[UnlistedFinding]:
    """The answers about one animal, the first one first."""
    return _told().filter(entry=entry).order_by("id")


def taxon_called(name: str) -> Taxon | None:
    """The kind of the house with this scientific name, or the only one with it as its common name."""
    name = " ".join(name.split())
    found = list(Taxon.objects.filter(scientific_name__iexact=name)[:1])
    found = found or list(Taxon.objects.filter(common_name__iexact=name, joined_into=None)[:2])
    if not name or len(found) != 1:
        return None
    taxon = found[0]
    while taxon.joined_into is not None:
        taxon = taxon.joined_into
    return taxon


def names_offered() -> list[tuple[str, str]]:
    """Scientific and common name of each kind of the house."""
    return list(Taxon.objects.filter(joined_into=None).values_list("scientific_name", "common_name"))


def lots_that_may_follow(finding: UnlistedFinding) -> list[Lot]:
    """Lots of which what the book still has to learn could be recorded; none where nothing follows.

    What joins a stock joins a group or a colony; what moved was held somewhere.
    """
    if finding.taxon_id is None or finding.what not in FOLLOWS_AS:
        return []
    lots = Lot.objects.filter(taxon=finding.taxon_id, open_lot=None)
    moved = finding.what is FoundAs.MOVED
    lots = lots.filter(held__gt=0) if moved else lots.exclude(kind=LotKind.INDIVIDUAL)
    return list(lots.order_by("accession")[:LOTS_SHOWN])


def marked(letter: str) -> list[Lot]:
    """Animals followed by themselves that the house holds and somebody may have meant by this letter."""
    if not letter:
        return []
    held = Lot.objects.filter(kind=LotKind.INDIVIDUAL, held__gt=0, open_lot=None)
    names = held.values_list("pk", "marks", "house_name", "taxon__scientific_name")
    meant = [
        lot
        for lot, marks, house_name, scientific_name in names
        if bears(letter, marks=marks, house_name=house_name, scientific_name=scientific_name)
    ]
    return list(Lot.objects.filter(pk__in=meant[:LOTS_SHOWN]).select_related("taxon").order_by("accession"))


def values_for_the_form(finding: str, hidden: Collection[int]) -> dict[str, str]:
    """What the form of an event takes over from a find; nothing of one in a place that is hidden."""
    told = _told().filter(replaced_by=None).exclude(entry__place__in=hidden)
    is_number = finding.isascii() and finding.isdecimal() and len(finding) < _DIGITS
    one = told.filter(pk=int(finding)).first() if is_number else None
    if one is None or one.what not in FOLLOWS_AS:
        return {}
    entry = one.entry
    saved = entry.saved_at or entry.received_at
    return for_the_form(
        entry.body,
        found_as=one.what,
        place=entry.place.code if entry.place else "",
        saved=timezone.localtime(saved).replace(tzinfo=None),
        found=one.note,
    )


def _told() -> QuerySet[UnlistedFinding]:
    return UnlistedFinding.objects.select_related(
        "entry__place",
        "entry__person",
        "entry__undone_by",
        "taxon",
        "found_by",
        "replaced_by",
        "seen__by",
        "post",
    )
