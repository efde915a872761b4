"""The benchmark of the population change runs from one end to the other; nothing is timed here."""

import os
import re
import subprocess
import sys
from pathlib import Path

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
