"""What the lists in use say of taxa. Constant numbers of queries, however many taxa, lists or entries."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q

from ..models import ListEntry, NameList, Taxon
from ..rules.lists import (
    How,
    Key,
    ListedRank,
    ListKind,
    Mark,
    Reason,
    Subject,
    keys,
    meant,
    plain_name,
    subject,
)
from ..rules.verdicts import Classification
from ..store.read import ReleaseNames
from ..store.sqlite import StoreMissing
from .store import current_release, release_names

LIST_COLUMNS = (
    "list", "kind", "version", "entries", "taxa_here", "authority", "source", "source_date", "mark",
    "loaded_at",
)  # fmt: skip
LISTING_COLUMNS = (
    "taxon", "kind", "list", "says", "region", "why", "what", "what_to_do_first", "source", "mark",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Listing:
    """One entry that speaks of a taxon, and why it does."""

    entry: ListEntry
    reason: Reason

    @property
    def is_hazard(self) -> bool:
        """True where it warns of harm to people or animals."""
        return self.entry.of_list.kind == ListKind.HAZARD

    @property
    def mark(self) -> str:
        """How well it is founded, in words."""
        return Mark(self.entry.mark).words


@dataclass(frozen=True, slots=True)
class Caution:
    """A hazard in a few words, and the taxa that bring it; those of every animal are left out."""

    words: str
    taxa: tuple[Taxon, ...]


def listings_of(taxa: Collection[Taxon]) -> dict[int, list[Listing]]:
    """Listings by the taxon's number: hazards first, then by list and row; the plainest reason first.

    Names are those of the house and, where a backbone is loaded, all that its release knows the taxon
    by. One query of entries beside the questions to the backbone.
    """
    subjects = _subjects(taxa)
    keyed = {number: keys(one) for number, one in subjects.items()}
    by_key = _entries({key for found in keyed.values() for key in found})
    listings: dict[int, list[Listing]] = defaultdict(list)
    for number, found in keyed.items():
        reached: set[int] = set()
        for key, reason in found.items():
            for entry in by_key.get(key, ()):
                if entry.pk not in reached:
                    reached.add(entry.pk)
                    listings[number].append(Listing(entry, reason))
        listings[number].sort(key=_order)
    return dict(listings)


def cautions_in(listings: Mapping[Taxon, Sequence[Listing]]) -> list[Caution]:
    """The hazards among listings, each once with the taxa that bring it, in the order they come."""
    found: dict[str, dict[Taxon, None]] = defaultdict(dict)
    for taxon, of_taxon in listings.items():
        for one in of_taxon:
            if one.is_hazard and not one.reason.is_general:
                perhaps = " (perhaps)" if one.reason.how is How.POSSIBLE else ""
                found[one.entry.annotation + perhaps][taxon] = None
    return [Caution(words, tuple(taxa)) for words, taxa in found.items()]


def cautions_of_names(names: Iterable[str]) -> list[Caution]:
    """The hazards that the taxa of the house called so bring; the names are accepted ones."""
    wanted = set(names)
    taxa = list(Taxon.objects.filter(scientific_name__in=wanted)) if wanted else []
    found = listings_of(taxa)
    return cautions_in({taxon: found[taxon.pk] for taxon in taxa})


def list_rows() -> list[dict[str, Any]]:
    """One row for each list in use, with the number of taxa of the house that it speaks of."""
    entries: dict[int, int] = defaultdict(int)
    counted = ListEntry.objects.filter(of_list__is_current=True).order_by().values_list("of_list")
    entries.update(counted.annotate(Count("id")))
    here: dict[int, int] = defaultdict(int)
    for listings in listings_of(list(Taxon.objects.filter(joined_into=None))).values():
        for of_list in {listing.entry.of_list_id for listing in listings}:
            here[of_list] += 1
    return [
        {
            "list": one.name,
            "kind": one.kind,
            "version": one.version,
            "entries": entries[one.pk],
            "taxa_here": here[one.pk],
            "authority": one.authority,
            "source": one.source,
            "source_date": one.source_date,
            "mark": one.mark,
            "loaded_at": one.loaded_at.isoformat(timespec="seconds"),
        }
        for one in NameList.objects.filter(is_current=True).order_by("kind", "code")
    ]


def listing_rows(taxon: Taxon) -> list[dict[str, Any]]:
    """One row for each listing of a taxon."""
    return [
        {
            "taxon": taxon.scientific_name,
            "kind": listing.entry.of_list.kind,
            "list": listing.entry.of_list.name,
            "says": listing.entry.annotation,
            "region": listing.entry.region,
            "why": listing.reason.words,
            "what": listing.entry.what,
            "what_to_do_first": listing.entry.what_to_do_first,
            "source": listing.entry.credit,
            "mark": listing.entry.mark,
        }
        for listing in listings_of([taxon])[taxon.pk]
    ]


def backbone_names() -> ReleaseNames | None:
    """The names of the current release; none when there is no release or its files are gone."""
    release = current_release()
    if release is None:
        return None
    try:
        return release_names(release)
    except StoreMissing:
        # The lists then go by the house's own names, which is less and not nothing.
        return None


def classification_of(taxon: Taxon) -> Classification:
    """The taxon's classification as a value."""
    return Classification(
        taxon.kingdom, taxon.phylum, taxon.class_name, taxon.order, taxon.family, taxon.genus
    )


def _subjects(taxa: Collection[Taxon]) -> dict[int, Subject]:
    names = {taxon.pk: plain_name(taxon.scientific_name) for taxon in taxa}
    store = backbone_names() if names else None
    named = store.named(set(names.values())) if store else {}
    targets = {
        taxon.pk: target
        for taxon in taxa
        if (target := meant(named.get(names[taxon.pk], []), classification_of(taxon)))
    }
    synonyms = store.synonyms_of({one.taxon_id for one in targets.values()}) if store and targets else {}
    return {
        taxon.pk: subject(
            taxon.scientific_name,
            taxon.rank,
            classification_of(taxon),
            [target, *synonyms.get(target.taxon_id, [])] if (target := targets.get(taxon.pk)) else [],
        )
        for taxon in taxa
    }


def _entries(wanted: Collection[Key]) -> Mapping[Key, Sequence[ListEntry]]:
    """Entries of the lists in use by key. One query."""
    by_rank: dict[ListedRank, list[str]] = defaultdict(list)
    genera = [key.name for key in wanted if key.within]
    for key in wanted:
        if not key.within:
            by_rank[key.rank].append(key.name)
    where = Q(rank=ListedRank.SPECIES, first_word__in=genera)
    for rank, names in by_rank.items():
        where |= Q(rank=rank, name__in=names)
    found: dict[Key, list[ListEntry]] = defaultdict(list)
    open_genera = set(genera)
    for entry in ListEntry.objects.filter(where, of_list__is_current=True).select_related("of_list"):
        rank = ListedRank(entry.rank)
        found[Key(rank, entry.name)].append(entry)
        if rank is ListedRank.SPECIES and entry.first_word in open_genera:
            found[Key(rank, entry.first_word, within=True)].append(entry)
    return found


_HOW = list(How)


def _order(listing: Listing) -> tuple[bool, bool, int, str, int]:
    entry = listing.entry
    how = _HOW.index(listing.reason.how)
    return (not listing.is_hazard, listing.reason.is_general, how, entry.of_list.code, entry.row)
