"""Builds a release's store from a source of names: streaming, checked, then indexed.

Kept in memory are only the distinct words and classifications: some 0.5 GB for eight million
names. Everything else passes through; what has to be compared over the whole is compared by the
database after loading.
"""

from array import array
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..readers.source import VERNACULAR, ArchiveError, NameSource
from ..rules.deletions import deletion_keys, is_word
from ..rules.parse import common_key
from .schema import Written
from .split import LONGEST, canonical_of, low_rank, split

_TERMS = (
    "taxonID", "acceptedNameUsageID", "scientificName", "scientificNameAuthorship", "canonicalName",
    "taxonRank", "taxonomicStatus", "taxonRemarks",
    "kingdom", "phylum", "class", "order", "family", "genus",
)  # fmt: skip
_ID_MASK = (1 << 32) - 1
_HALF = 1 << 31
# Each pass at least doubles the steps a synonym has been followed: 2 ** 24 is more than any file has.
_PASSES = 24
# How often progress is told, in rows.
_TELL = 20_000

Tell = Callable[[str, float | None], None]


@dataclass(slots=True)
class Counts:
    """What a store holds."""

    names: int = 0
    synonyms: int = 0
    vernacular_names: int = 0
    remarks: list[str] = field(default_factory=list)


def build(source: NameSource, store: Written, tell: Tell) -> Counts:
    """Fills an empty store from ``source``. ``tell`` hears the step and, of the reading, the share done.

    Raises :class:`ArchiveError` with file and line; the store is then of no use.
    """
    counts = Counts()
    _read_names(source, store, counts, tell)
    if not counts.names:
        raise ArchiveError(source.core.location, "no names in it")
    store.roomy()
    tell("checking identifiers", None)
    _check_identifiers(source, store)
    tell("following synonyms", None)
    counts.synonyms = _follow_synonyms(source, store)
    for name in ("usage_by_first", "usage_by_second", "accepted_to"):
        tell("indexing names", None)
        store.index(name)
    for kind in ("first", "second"):
        tell("indexing words", None)
        store.index(f"{kind}_word_text")
        _index_deletions(store, kind)
    tell("common names", None)
    counts.vernacular_names = _read_vernacular_names(source, store, counts)
    return counts


class _Numbers:
    """Numbers for texts, from 1; the blank text is 0."""

    def __init__(self) -> None:
        self.of: dict[str, int] = {"": 0}

    def __call__(self, text: str) -> int:
        number = self.of.get(text)
        if number is None:
            number = self.of[text] = len(self.of)
        return number

    def rows(self) -> Iterator[tuple[int, str]]:
        """All but the blank, by number."""
        return ((number, text) for text, number in self.of.items() if number)


def _read_names(source: NameSource, store: Written, counts: Counts, tell: Tell) -> None:
    firsts, seconds, terms, classes = _Numbers(), _Numbers(), _Numbers(), _Numbers()

    cut = array("Q")

    def rows() -> Iterator[tuple[Any, ...]]:
        file, number = source.core.location, 0
        for line, cells in source.rows_of(source.core, _TERMS):
            taxon_id, accepted, scientific, authorship, canonical, rank, status, remarks = cells[:8]
            if not taxon_id:
                raise ArchiveError(file, "no taxonID", line)
            if not canonical:
                if not scientific:
                    raise ArchiveError(file, "neither scientificName nor canonicalName", line)
                canonical, authorship = canonical_of(scientific, authorship)
            if not accepted and "synonym" in status.casefold():
                raise ArchiveError(file, "a synonym without acceptedNameUsageID: of what?", line)
            if len(canonical) > LONGEST or len(authorship) > LONGEST:
                # Longer than any line that is checked, so it can be kept short without a loss.
                cut.append(line)
                canonical, authorship = canonical[:LONGEST], authorship[:LONGEST]
            first, second, rest = split(canonical)
            number += 1
            if number % _TELL == 0:
                tell("reading names", source.bytes_read / max(1, source.bytes_total))
            yield (
                number, line, taxon_id, "" if accepted == taxon_id else accepted, canonical, authorship,
                terms(low_rank(rank)), terms(status), classes(_joined(cells[8:])),
                firsts(first), seconds(second), rest, remarks,
            )  # fmt: skip
        counts.names = number
        if cut:
            what = f"names or authors cut at {LONGEST} characters: {len(cut)}, the first on line {cut[0]}"
            counts.remarks.append(f"{file}: {what}")

    tell("reading names", 0.0)
    store.create("usage")
    store.insert("usage", rows())
    tell("words and classifications", None)
    for table, numbers in (("term", terms), ("first_word", firsts), ("second_word", seconds)):
        store.create(table)
        store.insert(table, numbers.rows())
    store.create("classification")
    store.insert("classification", ((n, *_six(text.split("\t"))) for text, n in classes.of.items()))


def _joined(names: Sequence[str]) -> str:
    """Six names in one text; a tab within one, which a quoted cell may hold, is a blank."""
    return "\t".join(name.replace("\t", " ") for name in names)


def _six(names: Sequence[str]) -> list[str]:
    return [*names, *[""] * (6 - len(names))]


def _check_identifiers(source: NameSource, store: Written) -> None:
    store.index("usage_taxon_id")
    twice = store.select("SELECT taxon_id FROM {t}usage GROUP BY taxon_id HAVING count(*) > 1 LIMIT 1")
    if twice:
        taxon_id = twice[0][0]
        lines = store.select(
            "SELECT u.line FROM {each} CROSS JOIN {t}usage u WHERE u.taxon_id = j.value ORDER BY u.id",
            [taxon_id],
        )
        what = f'taxonID "{taxon_id}" stands on line {lines[0][0]} already'
        raise ArchiveError(source.core.location, what, lines[1][0])


def _follow_synonyms(source: NameSource, store: Written) -> int:
    """Leads every synonym to its accepted name, over any number of steps; how many there are."""
    file = source.core.location
    store.create("accepted")
    found = store.run(
        "INSERT INTO {t}accepted (id, to_id) SELECT s.id, g.id FROM {t}usage s"
        " JOIN {t}usage g ON g.taxon_id = s.accepted_ref WHERE s.accepted_ref <> ''"
    )
    lost = store.select(
        "SELECT s.line, s.accepted_ref FROM {t}usage s WHERE s.accepted_ref <> ''"
        " AND NOT EXISTS (SELECT 1 FROM {t}accepted a WHERE a.id = s.id) ORDER BY s.id LIMIT 1"
    )
    if lost:
        line, ref = lost[0]
        raise ArchiveError(file, f'acceptedNameUsageID "{ref}" is no taxonID of this file', line)
    for _ in range(_PASSES):
        moved = store.run(
            "UPDATE {t}accepted SET to_id ="
            " (SELECT b.to_id FROM {t}accepted b WHERE b.id = {t}accepted.to_id)"
            " WHERE EXISTS (SELECT 1 FROM {t}accepted b WHERE b.id = {t}accepted.to_id)"
        )
        if not moved:
            return found
    circle = store.select(
        "SELECT min(u.line) FROM {t}accepted a JOIN {t}usage u ON u.id = a.id"
        " WHERE EXISTS (SELECT 1 FROM {t}accepted b WHERE b.id = a.to_id)"
    )
    raise ArchiveError(file, "synonyms that lead round in a circle", circle[0][0])


def _index_deletions(store: Written, kind: str) -> None:
    """The single-deletion index of the first or second words, written in its order."""
    packed = array("Q")
    last = 0
    while words := store.select(
        f"SELECT w.id, w.word FROM {{t}}{kind}_word w WHERE w.id > {last} ORDER BY w.id LIMIT 50000"
    ):
        for number, word in words:
            if is_word(word):
                packed.extend((key + _HALF) << 32 | number for key in deletion_keys(word))
        last = words[-1][0]
    numbers = np.frombuffer(packed, dtype=np.uint64) if packed else np.empty(0, np.uint64)
    numbers.sort()
    store.create(f"{kind}_deletion")
    store.insert(f"{kind}_deletion", _unpacked(numbers))


def _unpacked(numbers: "np.ndarray[Any, np.dtype[np.uint64]]") -> Iterator[tuple[int, int]]:
    for start in range(0, len(numbers), 100_000):
        some = numbers[start : start + 100_000]
        hashes = ((some >> np.uint64(32)).astype(np.int64) - _HALF).tolist()
        yield from zip(hashes, (some & np.uint64(_ID_MASK)).tolist(), strict=True)


def _read_vernacular_names(source: NameSource, store: Written, counts: Counts) -> int:
    store.create("vernacular")
    table = source.table(VERNACULAR)
    count = 0
    if table is not None:
        store.create("heard")
        store.insert("heard", _heard(source, counts))
        lost = store.select(
            "SELECT h.line, h.ref FROM {t}heard h WHERE NOT EXISTS"
            " (SELECT 1 FROM {t}usage u WHERE u.taxon_id = h.ref) ORDER BY h.id LIMIT 1"
        )
        if lost:
            raise ArchiveError(table.location, f'"{lost[0][1]}" is no taxonID of the core', lost[0][0])
        count = store.run(
            "INSERT INTO {t}vernacular (id, usage, key, name, language, country)"
            " SELECT h.id, u.id, h.key, h.name, h.language, h.country"
            " FROM {t}heard h JOIN {t}usage u ON u.taxon_id = h.ref"
        )
        store.drop("heard")
    store.index("vernacular_key")
    store.index("vernacular_usage")
    return count


def _heard(source: NameSource, counts: Counts) -> Iterator[tuple[Any, ...]]:
    table = source.table(VERNACULAR)
    assert table is not None
    terms = ("id", "vernacularName", "language", "countryCode")
    lines = source.rows_of(table, terms)
    blank = array("Q")
    for number, (line, (ref, name, language, country)) in enumerate(lines, start=1):
        key = common_key(name)
        if key:
            yield number, line, ref, key, name[:200], language[:20], country[:60]
        else:
            blank.append(line)
    if blank:
        what = f"lines without a vernacularName, left out: {len(blank)}, the first is line {blank[0]}"
        counts.remarks.append(f"{table.location}: {what}")
