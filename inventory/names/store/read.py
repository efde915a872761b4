"""Asks a release's store: exact names, common names, identifiers; near names in :mod:`.near`."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ..rules.parse import Reading
from ..rules.store import Near
from ..rules.verdicts import Classification, Usage
from .near import nearest
from .schema import Asked
from .split import split
from .words import word_numbers

_USAGE = (
    "SELECT u.id, u.taxon_id, u.canonical, u.authorship, u.rank, u.status, u.remarks, a.to_id,"
    " c.kingdom, c.phylum, c.class_name, c.order_name, c.family, c.genus"
    " FROM {each} CROSS JOIN {t}usage u JOIN {t}classification c ON c.id = u.classification"
    " LEFT JOIN {t}accepted a ON a.id = u.id WHERE u.id = j.value"
)


@dataclass(frozen=True, slots=True)
class CommonName:
    """A common name of a taxon, as the release gives it; language and country as codes, or blank."""

    name: str
    language: str
    country: str


class ReleaseNames:
    """The names of one release. Each question takes a fixed number of statements."""

    def __init__(self, store: Asked, fingerprint: str) -> None:
        self._store = store
        self._fingerprint = fingerprint
        self._terms: dict[int, str] | None = None

    def named(self, canonical_names: Collection[str]) -> dict[str, list[Usage]]:
        """Usages by canonical name, several for homonyms, in the order of the file."""
        wanted = sorted(canonical_names)
        parts = {name: split(name) for name in wanted}
        numbers = self._numbers(parts.values())
        names_of: dict[tuple[int, int, str], str] = {}
        for name, (first, second, rest) in parts.items():
            pair = (numbers[0].get(first), numbers[1].get(second))
            if pair[0] is not None and pair[1] is not None:
                names_of[pair[0], pair[1], rest] = name
        pairs = sorted({(first, second) for first, second, _ in names_of if first})
        ids = self._with_words(pairs, names_of) | self._without_words(names_of)
        found: dict[str, list[Usage]] = defaultdict(list)
        usages = self.usages(ids)
        for number in sorted(ids):
            found[ids[number]].append(usages[number])
        return dict(found)

    def called(self, keys: Collection[str]) -> dict[str, list[Usage]]:
        """Accepted usages by the key of a common name, in the order of the file."""
        rows = self._store.select(
            "SELECT v.id, v.key, v.usage FROM {each} CROSS JOIN {t}vernacular v WHERE v.key = j.value",
            sorted(keys),
        )
        usages = self.usages({usage for _, _, usage in rows})
        found: dict[str, list[Usage]] = defaultdict(list)
        for _, key, usage in sorted(rows):
            found[key].append(usages[usage].target)
        return dict(found)

    def near(self, readings: Collection[Reading]) -> dict[Reading, list[Near]]:
        """The nearest names of each reading: see :mod:`.near`."""
        found = nearest(self._store, readings, self._fingerprint)
        usages = self.named({name for names in found.values() for name in names})
        return {
            reading: [Near(usage, names[name]) for name in sorted(names) for usage in usages[name]]
            for reading, names in found.items()
            if names
        }

    def identified(self, taxon_ids: Collection[str]) -> dict[str, Usage]:
        """Usages by taxonID."""
        rows = self._store.select(
            "SELECT u.id FROM {each} CROSS JOIN {t}usage u WHERE u.taxon_id = j.value", sorted(taxon_ids)
        )
        return {usage.taxon_id: usage for usage in self.usages({row[0] for row in rows}).values()}

    def synonyms_of(self, taxon_ids: Collection[str]) -> dict[str, list[Usage]]:
        """Synonyms by the taxonID of their accepted name, in the order of the file."""
        rows = self._store.select(
            "SELECT a.id FROM {each} CROSS JOIN {t}usage u JOIN {t}accepted a ON a.to_id = u.id"
            " WHERE u.taxon_id = j.value",
            sorted(taxon_ids),
        )
        found: dict[str, list[Usage]] = defaultdict(list)
        for _, usage in sorted(self.usages({row[0] for row in rows}).items()):
            found[usage.target.taxon_id].append(usage)
        return dict(found)

    def common_names_of(self, taxon_ids: Collection[str]) -> dict[str, list[CommonName]]:
        """Common names by taxonID, in the order of the file."""
        rows = self._store.select(
            "SELECT v.id, u.taxon_id, v.name, v.language, v.country FROM {each} CROSS JOIN {t}usage u"
            " JOIN {t}vernacular v ON v.usage = u.id WHERE u.taxon_id = j.value",
            sorted(taxon_ids),
        )
        found: dict[str, list[CommonName]] = defaultdict(list)
        for _, taxon_id, *name in sorted(rows):
            found[taxon_id].append(CommonName(*name))
        return dict(found)

    def usages(self, ids: Iterable[int]) -> Mapping[int, Usage]:
        """Usages by row, each with its accepted usage."""
        rows = self._rows(set(ids))
        missing = {row[7] for row in rows.values() if row[7] is not None} - set(rows)
        above = rows | self._rows(missing)
        accepted = {row[7]: self._usage(above[row[7]]) for row in rows.values() if row[7] is not None}
        return {number: self._usage(row, accepted.get(row[7])) for number, row in rows.items()}

    def _rows(self, ids: set[int]) -> dict[int, tuple[Any, ...]]:
        if not ids:
            return {}
        return {row[0]: row for row in self._store.select(_USAGE, sorted(ids))}

    def _usage(self, row: tuple[Any, ...], accepted: Usage | None = None) -> Usage:
        if self._terms is None:
            self._terms = {0: "", **dict(self._store.select("SELECT id, word FROM {t}term"))}
        return Usage(
            taxon_id=row[1],
            canonical_name=row[2],
            authorship=row[3],
            rank=self._terms[row[4]],
            status=self._terms[row[5]],
            classification=Classification(*row[8:14]),
            remarks=row[6],
            accepted=accepted,
        )

    def _numbers(self, parts: Iterable[tuple[str, str, str]]) -> tuple[dict[str, int], dict[str, int]]:
        firsts, seconds = set[str](), set[str]()
        for first, second, _ in parts:
            firsts.add(first)
            seconds.add(second)
        return word_numbers(self._store, "first", firsts), word_numbers(self._store, "second", seconds)

    def _with_words(
        self, pairs: Sequence[tuple[int, int]], names_of: Mapping[tuple[int, int, str], str]
    ) -> dict[int, str]:
        if not pairs:
            return {}
        rows = self._store.select(
            "SELECT u.id, u.first, u.second, u.rest FROM {pairs} CROSS JOIN {t}usage u"
            " WHERE u.first = {a} AND u.second = {b}",
            pairs,
        )
        return {row[0]: names_of[row[1:]] for row in rows if row[1:] in names_of}

    def _without_words(self, names_of: Mapping[tuple[int, int, str], str]) -> dict[int, str]:
        codes = sorted(rest for first, _, rest in names_of if not first and rest)
        if not codes:
            return {}
        rows = self._store.select(
            "SELECT u.id, u.rest FROM {each} CROSS JOIN {t}usage u"
            " WHERE u.first = 0 AND u.second = 0 AND u.rest = j.value",
            codes,
        )
        return {number: names_of[0, 0, rest] for number, rest in rows}
