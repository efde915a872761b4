"""One table of what trust in the house rests on: kill -9, spoilt files, rights, the security standard.

    python -m tests.benchmarks.bench_trust                 # short runs, under two minutes when idle
    python -m tests.benchmarks.bench_trust --full          # 300 rounds on each database, 10,000 files
    python -m tests.benchmarks.bench_trust --kept FOLDER   # what earlier runs kept there is not run again

``--kept`` also keeps what is run now. Exits with 1 when a round, an entry or a file was lost.
"""

import argparse
import csv
import json
import re
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

PROJECT = Path(__file__).resolve().parents[2]
RIGHTS = PROJECT / "inventory" / "site" / "rights.md"
ASVS = PROJECT / "tests" / "attack" / "asvs.csv"


@dataclass
class Row:
    """One line of the table. ``holds``: whether it is as it must be; None where nothing was run."""

    what: str
    figure: str
    holds: bool | None
    run: str


@dataclass(frozen=True)
class Size:
    """How long each part runs."""

    rounds: int
    inputs: int
    databases: tuple[str, ...]


QUICK = Size(6, 240, ("sqlite",))
FULL = Size(300, 10_000, ("sqlite", "postgresql"))


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--full", action="store_true", help="as the acceptance asks; an hour or more")
    parser.add_argument("--kept", type=Path, help="folder of results: read where there, else run and kept")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    size = FULL if options.full else QUICK
    if options.kept:
        options.kept.mkdir(parents=True, exist_ok=True)
    rows: list[Row] = []
    for database in ("sqlite", "postgresql"):
        asked = database in size.databases
        rows += _kept(options.kept, f"crash-{database}", asked, partial(_crash, database, size, options.seed))
    rows += _kept(options.kept, "fuzz", True, partial(_fuzz, size, options.seed))
    rows += [*rights(), *asvs()]
    widths = [max(len(getattr(row, name)) for row in rows) for name in ("what", "figure")]
    for row in rows:
        holds = {True: "holds", False: "DOES NOT HOLD", None: ""}[row.holds]
        print(f"{row.what:<{widths[0]}}  {row.figure:<{widths[1]}}  {holds:<13}  {row.run}".rstrip())
    for item in _items():
        if item["verdict"] == "not met":
            print(f"ASVS {item['item']} not met: {item['words']}; {item['reason']}")
    return 1 if any(row.holds is False for row in rows) else 0


def _kept(folder: Path | None, name: str, asked: bool, run: Callable[[], list[Row]]) -> list[Row]:
    """Rows of an earlier run, or of one made now."""
    path = folder / f"{name}.json" if folder else None
    if path and path.exists():
        return [Row(**row) for row in json.loads(path.read_text(encoding="utf-8"))]
    if not asked:
        return [Row(f"{name}: not run", "-", None, "see --full")]
    rows = run()
    if path:
        path.write_text(json.dumps([asdict(row) for row in rows], indent=1), encoding="utf-8")
    return rows


def _today() -> str:
    return datetime.now(UTC).date().isoformat()


def _crash(database: str, size: Size, seed: int) -> list[Row]:
    command = [sys.executable, "-m", "tests.benchmarks.bench_crash", f"--rounds={size.rounds}"]
    ran = subprocess.run(
        [*command, f"--database={database}", f"--seed={seed}"],
        cwd=PROJECT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    told = dict(re.findall(r"^(\S.*?) {2,}(\S.*)$", ran.stdout, re.MULTILINE))
    if "rounds survived" not in told:
        return [Row(f"kill -9 on {database}", "did not run", False, ran.stderr.strip()[-200:])]
    how, holds = f"seed {seed}, {_today()}", ran.returncode == 0
    return [
        Row(f"rounds of kill -9 survived on {database}", told["rounds survived"], holds, how),
        Row(
            "  entries acknowledged, and found once",
            f"{told['entries acknowledged']}, {told['of these in the book once']}",
            holds,
            how,
        ),
    ]


def _fuzz(size: Size, seed: int) -> list[Row]:
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "fuzz.json"
        command = [sys.executable, "-m", "tests.benchmarks.bench_fuzz", f"--inputs={size.inputs}"]
        ran = subprocess.run(
            [*command, f"--seed={seed}", f"--json={out}"],
            cwd=PROJECT,
            capture_output=True,
            text=True,
            check=False,
        )
        if not out.exists():
            return [Row("spoilt files", f"ended with {ran.returncode}", False, ran.stderr.strip()[-200:])]
        return fuzz_rows(json.loads(out.read_text(encoding="utf-8")))


def fuzz_rows(told: dict[str, object]) -> list[Row]:
    """Rows out of the figures that ``bench_fuzz --json`` keeps."""
    how, findings = f"seed {told['seed']}, {_today()}", told["findings"]
    assert isinstance(findings, list)
    peak = told["peak"]
    assert isinstance(peak, int)
    return [
        Row(
            f"inputs fuzzed, through {told['importers']} importers", f"{told['inputs']:,}", not findings, how
        ),
        Row("  taken, refused in words", f"{told['taken']:,}, {told['refused']:,}", not findings, how),
        Row("  stack traces, half loads and the like", str(len(findings)), not findings, how),
        Row("  most memory", f"{peak >> 20} MiB", peak < 512 << 20, how),
    ]


def rights() -> Iterator[Row]:
    """What the table of rights holds; its test asks each."""
    addresses = 0
    roles = 0
    for line in RIGHTS.read_text(encoding="utf-8").splitlines():
        if line.startswith("| `"):
            addresses += 1
            roles = line.count("|") - 3
    yield Row(
        "addresses x kinds of visitor checked",
        f"{addresses} x {roles} = {addresses * roles}",
        None,
        "tests/site/test_rights.py, GET and POST",
    )


def asvs() -> Iterator[Row]:
    """How much of the standard is met."""
    counted = Counter(row["verdict"] for row in _items())
    yield Row(
        "OWASP ASVS 5.0, levels 1 and 2: met, not met, not applicable",
        f"{counted['met']}, {counted['not met']}, {counted['not applicable']}",
        None,
        "tests/attack/asvs.csv",
    )


def _items() -> list[dict[str, str]]:
    with ASVS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


if __name__ == "__main__":
    sys.exit(main())
