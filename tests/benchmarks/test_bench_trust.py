"""The table of trust is put together out of what its parts print; the parts have tests of their own."""

import json
import os
import subprocess
import sys
from pathlib import Path

from ..migrated import on_sqlite_anyhow
from .bench_trust import PROJECT, Row, asvs, fuzz_rows, rights


def test_rights_and_standard_are_counted_out_of_their_files() -> None:
    (right,) = rights()
    addresses, roles, product = (int(n) for n in right.figure.replace("=", "x").split("x"))
    assert addresses * roles == product
    assert addresses > 100
    (standard,) = asvs()
    assert sum(int(n) for n in standard.figure.split(", ")) == 253


def test_a_finding_or_too_much_memory_does_not_hold() -> None:
    told = {
        "inputs": 10,
        "seed": 1,
        "taken": 4,
        "refused": 5,
        "importers": 12,
        "peak": 1 << 30,
        "findings": ["x"],
    }
    assert [row.holds for row in fuzz_rows(told)] == [False, False, False, False]
    assert all(row.holds for row in fuzz_rows({**told, "peak": 1 << 20, "findings": []}))


def test_what_earlier_runs_kept_is_printed_and_a_loss_is_told(tmp_path: Path) -> None:
    for name, holds in (("crash-sqlite", True), ("crash-postgresql", False), ("fuzz", True)):
        row = Row(f"kept of {name}", "300 of 300", holds, "seed 1")
        (tmp_path / f"{name}.json").write_text(json.dumps([row.__dict__]), encoding="utf-8")
    ran = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.bench_trust", f"--kept={tmp_path}"],
        cwd=PROJECT, capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    assert ran.returncode == 1, ran.stderr
    assert "kept of crash-postgresql" in ran.stdout
    assert "DOES NOT HOLD" in ran.stdout
    assert "OWASP ASVS 5.0" in ran.stdout


@on_sqlite_anyhow
def test_a_few_spoilt_files_go_through_every_importer_in_a_process_of_their_own(tmp_path: Path) -> None:
    out = tmp_path / "fuzz.json"
    ran = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.bench_fuzz", "--inputs=24", "--seed=7", f"--json={out}"],
        cwd=PROJECT, capture_output=True, text=True, check=False, timeout=300,
        env={key: value for key, value in os.environ.items() if not key.startswith("DJANGO_SETTINGS")},
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout + ran.stderr
    told = json.loads(out.read_text(encoding="utf-8"))
    assert told["inputs"] == 24
    assert 0 < told["peak"] < 512 << 20
