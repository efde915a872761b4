"""What a loaded release would change, with the stock and the permits that each change touches."""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, Sum
from django.db.models.functions import Coalesce

from ..models import BackboneRelease, CheckState, NameCheck, Taxon
from ..rules.compare import Change, Consequence, InUse, Named, compare
from ..rules.parse import parse
from ..rules.store import NameStore
from ..rules.verdicts import Classification, Usage
from .store import NoBackbone, ReleaseStore, current_release

COLUMNS = (
    "consequence",
    "name",
    "authorship",
    "new_name",
    "new_authorship",
    "why",
    "also",
    "lots",
    "animals",
    "permits",
)


@dataclass(frozen=True, slots=True)
class TouchedLot:
    """A lot that a person may decide by itself."""

    accession: str
    house_name: str
    held: int
    typed: str


@dataclass(frozen=True, slots=True)
class Seen:
    """One change with what it touches now. ``lots`` are listed where a person is asked lot by lot."""

    change: Change
    n_lots: int
    n_held: int
    permits: tuple[str, ...]
    lots: tuple[TouchedLot, ...] = ()

    def as_row(self) -> dict[str, Any]:
        """The columns of ``backbone compare``."""
        change = self.change
        target = change.target
        several = " | ".join(
            f"{choice.canonical_name} {choice.authorship}".strip() for choice in change.choices
        )
        return {
            "consequence": change.consequence.value,
            "name": f"{change.name} (typed {change.typed})" if change.typed else change.name,
            "authorship": change.authorship,
            "new_name": change.new_name or several,
            "new_authorship": target.authorship if target and change.new_name else "",
            "why": change.why,
            "also": "; ".join(change.also),
            "lots": self.n_lots,
            "animals": self.n_held,
            "permits": ", ".join(self.permits),
        }


@dataclass(frozen=True, slots=True)
class Comparison:
    """Everything that ``release`` would change against ``current``; ``n_names`` names were compared."""

    release: BackboneRelease
    current: BackboneRelease | None
    seen: Sequence[Seen]
    n_names: int
    n_waiting: int

    def groups(self) -> Iterator[tuple[Consequence, list[Seen]]]:
        """Changes by consequence, in the order in which people look at them."""
        for consequence in Consequence:
            group = [one for one in self.seen if one.change.consequence is consequence]
            if group:
                yield consequence, group

    @property
    def counts(self) -> dict[str, int]:
        """Changes by consequence."""
        return dict(Counter(one.change.consequence.value for one in self.seen))

    def rows(self) -> list[dict[str, Any]]:
        """For files."""
        return [one.as_row() for one in self.seen]


def store_of(release: BackboneRelease | None) -> NameStore:
    """A release as the matcher asks it; the empty store for none.

    Raises :class:`~inventory.names.store.sqlite.StoreMissing`.
    """
    return ReleaseStore(release) if release else NoBackbone()


def compared(release: BackboneRelease, current: BackboneRelease | None = None) -> Comparison:
    """What ``release`` would change against ``current`` (the one in use when not given).

    Five queries of the main database, and as many of the two stores, whatever the house holds.
    Raises :class:`~inventory.names.store.sqlite.StoreMissing` when the names of one are not here.
    """
    current = current or current_release()
    taxa, typed = _in_use()
    changes = compare(taxa, *_answers(taxa, store_of(current), store_of(release)))
    cautioned = _cautioned(changes, store_of(release))
    if cautioned:
        old, new = _answers(taxa, store_of(current), store_of(release))
        changes = compare(taxa, old, new, cautioned=cautioned)
    return Comparison(
        release=release,
        current=current,
        seen=_seen(changes, typed),
        n_names=len({taxon.key for taxon in taxa if taxon.key} | {t for taxon in taxa for t in taxon.typed}),
        n_waiting=sum(taxon.waits for taxon in taxa),
    )


def _answers(taxa: Sequence[InUse], old: NameStore, new: NameStore) -> tuple[Named, Named]:
    """What both releases say of all names in use, and the old one of the names they get."""
    asked = {taxon.key for taxon in taxa if taxon.key} | {name for taxon in taxa for name in taxon.typed}
    answer = new.named(asked)
    led = {usage.target.canonical_name for usages in answer.values() for usage in usages}
    return old.named(asked | led), answer


def _cautioned(changes: Iterable[Change], new: NameStore) -> Collection[str]:
    taken = {change.target.canonical_name for change in changes if change.target and not _keeps(change)}
    return set(new.cautions(taken)) if taken else set()


def _keeps(change: Change) -> bool:
    return change.new_name == change.name


_Typed = Mapping[int, Mapping[str, str]]


def _in_use() -> tuple[list[InUse], _Typed]:
    """Taxa that the house uses; and by taxon the canonical names of what was typed. Three queries."""
    rows = (
        Taxon.objects.annotate(n_lots=Count("lots"))
        .filter(Q(joined_into=None) | Q(n_lots__gt=0))
        .order_by("scientific_name")
    )
    waits = set(
        NameCheck.objects.filter(state=CheckState.TO_REVIEW, taxon__isnull=False).values_list(
            "taxon_id", flat=True
        )
    )
    typed: dict[int, dict[str, str]] = defaultdict(dict)
    lines = Taxon.objects.filter(lots__verbatim_identification__gt="").values_list(
        "pk", "lots__verbatim_identification"
    )
    for taxon_id, line in lines.order_by().distinct():
        typed[taxon_id][line] = _key(line)
    taxa = [
        InUse(
            taxon_id=row.pk,
            name=row.scientific_name,
            key=_key(row.scientific_name),
            authorship=row.authorship,
            rank=row.rank,
            classification=Classification(
                row.kingdom, row.phylum, row.class_name, row.order, row.family, row.genus
            ),
            qualifier=row.identification_qualifier,
            typed=frozenset(typed[row.pk].values()) - {""},
            waits=row.pk in waits,
            n_lots=row.n_lots,
            count_class=row.count_class,
        )
        for row in rows
    ]
    return taxa, typed


def _key(name: str) -> str:
    """The canonical name in a line; blank where no single name stands in it."""
    parsed = parse(name)
    if parsed.is_hybrid or parsed.parts or not parsed.readings or parsed.readings[0].genus_is_abbreviated:
        return ""
    return parsed.readings[0].canonical


def _seen(changes: Sequence[Change], typed: _Typed) -> list[Seen]:
    """Changes with stock and permits. Two queries."""
    ids = {change.taxon_id for change in changes}
    lots: dict[int, list[TouchedLot]] = defaultdict(list)
    columns = ("pk", "lots__accession", "lots__house_name", "lots__verbatim_identification")
    held = (
        Taxon.objects.filter(pk__in=ids, lots__isnull=False)
        .annotate(n=Coalesce(Sum("lots__held"), 0))
        .values_list(*columns, "n")
    )
    for taxon_id, accession, house_name, line, n in held.order_by("lots__accession"):
        lots[taxon_id].append(TouchedLot(accession, house_name, n, line))
    permits = _permits(ids)
    seen = []
    for change in changes:
        touched = [
            lot
            for lot in lots[change.taxon_id]
            if not change.typed or typed[change.taxon_id].get(lot.typed) == change.typed
        ]
        numbers = {number for lot in touched for number in permits.get(lot.accession, ())}
        seen.append(
            Seen(
                change=change,
                n_lots=len(touched),
                n_held=sum(lot.held for lot in touched),
                permits=tuple(sorted(numbers)),
                lots=tuple(touched) if change.consequence is Consequence.SPLIT else (),
            )
        )
    return seen


def _permits(taxa: Collection[int]) -> Mapping[str, Collection[str]]:
    """Permit numbers by lot: those under which its animals came or left, as typed. One query."""
    found: dict[str, set[str]] = defaultdict(set)
    parts = [
        Taxon.objects.filter(
            pk__in=taxa, lots__cells__inside=True, **{f"lots__cells__{way}__event__permit_number__gt": ""}
        )
        .order_by()
        .values_list("lots__accession", f"lots__cells__{way}__event__permit_number")
        .distinct()
        for way in ("flows_in", "flows_out")
    ]
    for accession, number in parts[0].union(parts[1]):
        found[accession].add(number)
    return found


def choice_of(change: Change, name: str) -> Usage | None:
    """The choice of a change that is called ``name``; none when there is none, or homonyms are."""
    fitting = [usage for usage in change.choices if usage.canonical_name == name]
    return fitting[0] if len(fitting) == 1 else None
