"""The backbone in the database, answering the matcher's questions.

Each question is one or two queries for any number of names. Near names are found by comparing
with every name of the release, one query and a pass of rapidfuzz: right for releases up to some
ten thousand names. A full-size backbone brings an index of its own behind the same
:class:`~inventory.names.rules.store.NameStore`.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence

from django.db.models import QuerySet
from rapidfuzz import process
from rapidfuzz.distance import OSA

from ..models import BackboneRelease, NameUsage, RangeCaution, VernacularName
from ..rules.distance import ENDING_SLACK, LIMIT, name_distance
from ..rules.parse import Reading
from ..rules.store import Near
from ..rules.verdicts import Caution, Classification, Usage

# Names in one query; below what any database takes as parameters.
CHUNK = 5_000


def current_release() -> BackboneRelease | None:
    """The release that names are checked against; ``None`` when no backbone is loaded."""
    return BackboneRelease.objects.filter(is_current=True).first()


class DatabaseStore:
    """Answers from one release."""

    def __init__(self, release: BackboneRelease) -> None:
        self._release = release

    @property
    def release(self) -> str:
        """Name and version."""
        return str(self._release)

    def named(self, canonical_names: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """See :class:`NameStore`. Two queries."""
        rows: list[NameUsage] = []
        for names in _chunks(canonical_names):
            rows += self._usages().filter(canonical_name__in=names)
        found: dict[str, list[Usage]] = defaultdict(list)
        for usage in self._with_accepted(rows):
            found[usage.canonical_name].append(usage)
        return found

    def called(self, keys: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """See :class:`NameStore`. Two queries."""
        pairs: list[tuple[str, NameUsage]] = []
        for some in _chunks(keys):
            query = VernacularName.objects.filter(usage__release=self._release, key__in=some)
            pairs += [(row.key, row.usage) for row in query.select_related("usage").order_by("id")]
        usages = self._with_accepted([row for _, row in pairs])
        found: dict[str, list[Usage]] = defaultdict(list)
        for (key, _), usage in zip(pairs, usages, strict=True):
            found[key].append(usage.target)
        return found

    def near(self, readings: Collection[Reading]) -> Mapping[Reading, Sequence[Near]]:
        """See :class:`NameStore`. Three queries."""
        names = list(self._usages().values_list("canonical_name", flat=True).order_by().distinct())
        nearest = {reading: _nearest(reading, names) for reading in set(readings)}
        usages = self.named({name for found in nearest.values() for name, _ in found})
        return {
            reading: [Near(usage, distances) for name, distances in found for usage in usages[name]]
            for reading, found in nearest.items()
            if found
        }

    def cautions(self, canonical_names: Collection[str]) -> Mapping[str, Caution]:
        """See :class:`NameStore`. One query."""
        rows: list[RangeCaution] = []
        for names in _chunks(canonical_names):
            rows += RangeCaution.objects.filter(release=self._release, typed_name__in=names)
        return {
            row.typed_name: Caution(row.typed_name, row.right_name, row.region, row.reason, row.source)
            for row in rows
        }

    def _usages(self) -> QuerySet[NameUsage]:
        return NameUsage.objects.filter(release=self._release).order_by("id")

    def _with_accepted(self, rows: Sequence[NameUsage]) -> list[Usage]:
        """Follows synonyms to the accepted usage, one step: a release is loaded only when that is enough."""
        wanted = {row.accepted_name_usage_id for row in rows} - {""}
        accepted: dict[str, Usage] = {}
        for some in _chunks(wanted):
            accepted |= {row.taxon_id: _usage(row) for row in self._usages().filter(taxon_id__in=some)}
        return [_usage(row, accepted.get(row.accepted_name_usage_id)) for row in rows]


class NoBackbone:
    """The store of a house that has loaded no backbone: it knows no name."""

    release = ""

    def named(self, canonical_names: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """Nothing."""
        return {}

    def called(self, keys: Collection[str]) -> Mapping[str, Sequence[Usage]]:
        """Nothing."""
        return {}

    def near(self, readings: Collection[Reading]) -> Mapping[Reading, Sequence[Near]]:
        """Nothing."""
        return {}

    def cautions(self, canonical_names: Collection[str]) -> Mapping[str, Caution]:
        """Nothing."""
        return {}


def _nearest(reading: Reading, names: Sequence[str]) -> list[tuple[str, tuple[int, ...]]]:
    words = tuple(reading.canonical.split(" "))
    if reading.genus_is_abbreviated:
        start, end = reading.genus.rstrip("."), " ".join(words[1:])
        return [
            (name, (0,) * len(words))
            for name in names
            if name.startswith(start) and name.partition(" ")[2] == end
        ]
    # The whole names first, in C; then word by word, which counts an ending of gender as one edit.
    rough = process.extract(
        reading.canonical, names, scorer=OSA.distance, score_cutoff=LIMIT + ENDING_SLACK, limit=None
    )
    measured = [
        (name, distances)
        for name, _, _ in rough
        if (distances := name_distance(words, tuple(name.split(" ")))) is not None
    ]
    least = min((sum(distances) for _, distances in measured), default=0)
    return [(name, distances) for name, distances in measured if sum(distances) == least]


def _usage(row: NameUsage, accepted: Usage | None = None) -> Usage:
    return Usage(
        taxon_id=row.taxon_id,
        canonical_name=row.canonical_name,
        authorship=row.scientific_name_authorship,
        rank=row.taxon_rank,
        status=row.taxonomic_status,
        classification=Classification(
            row.kingdom, row.phylum, row.class_name, row.order, row.family, row.genus
        ),
        remarks=row.taxon_remarks,
        accepted=accepted,
    )


def _chunks(values: Collection[str]) -> Iterator[list[str]]:
    ordered = sorted(values)
    for start in range(0, len(ordered), CHUNK):
        yield ordered[start : start + CHUNK]
