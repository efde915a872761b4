"""What the lists show: lots, and where animals live now.

"Now" is read from the balances that the database keeps on the cells. Every function is a constant
number of queries, however many lots or places there are; a question about another day goes to
:mod:`inventory.book.queries.quantities`.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field, replace

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Sum

from inventory.names.models import Taxon

from ..models import Account, Cell, Flag, Lot, Place, PlaceKind, Sex, Standing
from ..models.flags import FlagKind
from ..rules import words


@dataclass(frozen=True, slots=True)
class LivesHere:
    """What one lot has in one place now. ``missing`` is part of the numbers by sex.

    ``hidden``: the reader is counting the place, and every number is 0.
    """

    accession: str
    lot_kind: str
    house_name: str
    unit: str
    scientific_name: str
    common_name: str
    lot_id: int
    place_id: int
    place_code: str
    place_name: str
    males: int
    females: int
    hermaphrodites: int
    unknown: int
    missing: int
    hidden: bool = False

    @property
    def total(self) -> int:
        return self.males + self.females + self.hermaphrodites + self.unknown

    @property
    def mfu(self) -> str:
        return words.mfu(self.males, self.females, self.hermaphrodites, self.unknown)


def lives_here(
    *,
    lots: Collection[int] | None = None,
    places: Collection[int] | None = None,
    hidden: Collection[int] = (),
) -> list[LivesHere]:
    """One row for each lot and place with something in it, ordered by name and accession. One query.

    ``hidden`` are ids of places whose numbers the reader may not see (:mod:`inventory.book.blind`).
    """
    cells = Cell.objects.filter(inside=True).exclude(balance=0)
    if lots is not None:
        cells = cells.filter(lot_id__in=lots)
    if places is not None:
        cells = cells.filter(account__place_id__in=places)
    rows = (
        cells.values_list(
            "lot__accession",
            "lot__kind",
            "lot__house_name",
            "lot__unit",
            "lot__taxon__scientific_name",
            "lot__taxon__common_name",
            "lot_id",
            "account__place_id",
            "account__place__code",
            "account__place__name",
        )
        .annotate(**_by_sex(), missing_now=_sum(standing=Standing.MISSING))
        .order_by("lot__taxon__scientific_name", "lot__accession", "account__place__code")
    )
    found = [LivesHere(*row) for row in rows]
    return [_without_numbers(row) if row.place_id in hidden else row for row in found]


def _without_numbers(row: LivesHere) -> LivesHere:
    return replace(row, males=0, females=0, hermaphrodites=0, unknown=0, missing=0, hidden=True)


def find_lots(*, text: str = "", kind: str = "", place: str = "", emptied: bool = False) -> QuerySet[Lot]:
    """Lots whose accession, house name, scientific or common name holds ``text``.

    ``place`` is the code of a place where the lot has animals now. ``emptied``: also lots that
    hold nothing any more.
    """
    lots = Lot.objects.select_related("taxon")
    for word in text.split():
        taxa = Taxon.objects.filter(Q(scientific_name__icontains=word) | Q(common_name__icontains=word))
        lots = lots.filter(
            Q(accession__icontains=word) | Q(house_name__icontains=word) | Q(taxon_id__in=taxa.values("id"))
        )
    if kind:
        lots = lots.filter(kind=kind)
    if place:
        there = Account.objects.filter(place__code=place).values("id")
        lots = lots.filter(
            Exists(Cell.objects.filter(lot=OuterRef("pk"), account__in=there, inside=True).exclude(balance=0))
        )
    if not emptied:
        lots = lots.exclude(held=0)
    return lots


def by_lot(rows: Iterable[LivesHere]) -> dict[int, list[LivesHere]]:
    """The rows of each lot."""
    grouped: dict[int, list[LivesHere]] = defaultdict(list)
    for row in rows:
        grouped[row.lot_id].append(row)
    return grouped


@dataclass(frozen=True, slots=True)
class UnitSum:
    """Sums over rows of one unit."""

    unit: str
    total: int
    missing: int


def sums_by_unit(rows: Iterable[LivesHere]) -> list[UnitSum]:
    """One sum for each unit, for animals and colonies are never added together.

    No sums at all when a row is hidden: the rest would tell what is not shown.
    """
    rows = list(rows)
    if any(row.hidden for row in rows):
        return []
    sums: dict[str, tuple[int, int]] = {}
    for row in rows:
        total, missing = sums.get(row.unit, (0, 0))
        sums[row.unit] = (total + row.total, missing + row.missing)
    return [UnitSum(unit, *numbers) for unit, numbers in sorted(sums.items())]


@dataclass(slots=True)
class PlaceNode:
    """A place in the tree with what lives in itself (not in its children) now.

    ``held`` is by unit, for animals and colonies are never added together. ``below_zero`` is the
    number of lots with too few, which a sum would hide. ``hidden``: the reader is counting the
    place, and no number is told.
    """

    place: Place
    lots: int = 0
    missing: int = 0
    held: dict[str, int] = field(default_factory=dict)
    below_zero: int = 0
    hidden: bool = False
    children: list["PlaceNode"] = field(default_factory=list)

    @property
    def holds(self) -> str:
        """ "412 animals, 7 colonies"."""
        return ", ".join(words.count_of(n, unit) for unit, n in sorted(self.held.items()))


def place_tree(*, hidden: Collection[int] = ()) -> list[PlaceNode]:
    """The places at the top, each with its children. Two queries."""
    nodes = {p.pk: PlaceNode(p, hidden=p.pk in hidden) for p in Place.objects.order_by("code")}
    sums = (
        Cell.objects.filter(inside=True)
        .exclude(balance=0)
        .values_list("account__place_id", "lot__unit")
        .annotate(
            lots=Count("lot_id", distinct=True),
            held=Sum("balance"),
            missing_now=_sum(standing=Standing.MISSING),
            negative=Count("lot_id", distinct=True, filter=Q(balance__lt=0)),
        )
    )
    for place_id, unit, lots, held, missing, negative in sums:
        node = nodes[place_id]
        if node.hidden:
            continue
        node.lots += lots
        node.missing += missing
        node.below_zero += negative
        node.held[unit] = held
    roots: list[PlaceNode] = []
    for node in nodes.values():
        parent = nodes.get(node.place.parent_id or 0)
        (parent.children if parent else roots).append(node)
    return roots


def places_for_animals() -> QuerySet[Place]:
    """Places where stock may be put now: open, and not for feed."""
    return Place.objects.filter(closed_on=None).exclude(kind=PlaceKind.FEED).order_by("code")


@dataclass(frozen=True, slots=True)
class BelowZero:
    """A lot that has fewer than no animals in a place: some arrival was never entered.

    ``owner`` is the name of the person who looks into it, ``event_id`` the event that first took
    the balance below zero.
    """

    place_id: int
    accession: str
    scientific_name: str
    common_name: str
    place_code: str
    held: int
    owner: str
    event_id: int | None


def below_zero(*, hidden: Collection[int] = ()) -> list[BelowZero]:
    """Every lot and place whose animals sum to less than none now, the lowest first. Two queries."""
    suspects = Cell.objects.filter(inside=True, balance__lt=0).values("lot_id")
    rows = list(
        Cell.objects.filter(inside=True, lot_id__in=suspects)
        .values_list(
            "lot_id",
            "account__place_id",
            "lot__accession",
            "lot__taxon__scientific_name",
            "lot__taxon__common_name",
            "account__place__code",
        )
        .annotate(held=Sum("balance"))
        .filter(held__lt=0)
        .order_by("held", "lot__accession")
    )
    flags = Flag.objects.filter(kind=FlagKind.BELOW_ZERO, settled_at=None).values_list(
        "lot_id", "place_id", "owner__name", "event_id"
    )
    owners = {(lot, place): (owner, event) for lot, place, owner, event in flags}
    return [
        BelowZero(place, *told, *owners.get((lot, place), ("", None)))
        for lot, place, *told in rows
        if place not in hidden
    ]


def late_entries() -> QuerySet[Flag]:
    """Events dated in a closed period that nobody has looked at yet, the newest first."""
    return (
        Flag.objects.filter(kind=FlagKind.LATE_ENTRY, settled_at=None)
        .select_related("event__entered_by", "owner")
        .order_by("-raised_at", "-id")
    )


def _by_sex() -> dict[str, Sum]:
    return {f"{sex.value}_now": _sum(sex=sex) for sex in Sex}


def _sum(**where: str) -> Sum:
    return Sum("balance", filter=Q(**where), default=0)
