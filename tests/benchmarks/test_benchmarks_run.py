"""Benchmarks run from one end to the other; nothing is timed here."""

import os
import re
import subprocess
import sys
from pathlib import Path

from census.estimators.rules.methods import METHODS

from ..migrated import on_sqlite_anyhow

pytestmark = on_sqlite_anyhow
PROJECT = Path(__file__).resolve().parent.parent.parent


def test_the_benchmark_of_the_population_change_runs(tmp_path: Path) -> None:
    """In a process of its own, for it brings its own database."""
    run = subprocess.run(
        [
            *(sys.executable, "-m", "tests.benchmarks.bench_change"),
            *("--flows=600", "--lots=40", "--years=1", "--repeat=1", f"--keep={tmp_path}"),
        ],
        cwd=PROJECT,
        env={key: value for key, value in os.environ.items() if not key.startswith("DJANGO_SETTINGS")},
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert run.returncode == 0, run.stderr
    assert "600 flows, 40 lots" in run.stdout
    measured = re.findall(r"^(.*\S) +[\d,]+ ms +[\d,]+ ms$", run.stdout, re.MULTILINE)
    for what in (
        "change of a quarter by taxon, no snapshot",
        "change of the closed quarter by taxon, snapshots",
        "page of the closed quarter, snapshots",
        "floor: the columns in one DuckDB query on Parquet",
    ):
        assert what in measured


def test_the_simulation_of_intervals_runs_and_every_estimator_has_its_row() -> None:
    run = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.bench_estimators", "--runs=20"],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert run.returncode == 0, run.stderr
    rows = re.findall(r"^(\w+)(?: \(\w+\))?, .* (?:well|OUTSIDE)$", run.stdout, re.MULTILINE)
    assert set(rows) == set(METHODS) - {"full"}  # one count has no interval


def test_the_benchmark_of_the_source_shares_runs() -> None:
    """It also holds one answer to HiGHS on the whole network, and exits when the two differ."""
    run = subprocess.run(
        [
            *(sys.executable, "-m", "tests.benchmarks.bench_shares"),
            *("--lots=200", "--joins=60", "--sources=5", "--repeat=1"),
        ],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert run.returncode == 0, run.stderr
    assert run.stdout.count("45 answers") == 3
    assert run.stdout.count("the same answer") == 2


def test_count_sheets_are_printed_by_the_hundred() -> None:
    run = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.bench_sheets", "4"],
        cwd=PROJECT,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert run.returncode == 0, run.stderr
    assert re.search(r"2 sheets, \d+ pages, 60 lines", run.stdout)
