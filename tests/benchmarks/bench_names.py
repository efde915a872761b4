"""How fast a full-size backbone is loaded and asked, and how well it reads misspelt names.

    python -m tests.benchmarks.bench_names [--names N] [--folder DIR] [--molluscs FILE] [--others N]

Every part runs in a process of its own, in an empty house (SQLite; PostgreSQL with --database-url), and
prints its time and its largest resident set. The names asked are spoilt by one or two slips of the
pen. Beside the store stands, in the same run, rapidfuzz over all names in memory: it says how long
the plain way takes, and whether the store found names as near as there are.

``--molluscs`` takes a table of names as misspelt in print and as they were reconciled (columns typed,
typed_canonical, reconciled, reconciled_canonical): the reconciled names are loaded among other names,
and the line says how many are the first choice, and how many would be taken wrongly without a person.
"""

import argparse
import csv
import json
import os
import random
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import nullcontext
from functools import partial
from pathlib import Path
from typing import Any

from .backbone import misspelt, write_backbone

PROJECT = Path(__file__).resolve().parents[2]
_BASELINE_QUERIES = 30


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Benchmark of names.")
    parser.add_argument("--names", type=int, default=7_700_000)
    parser.add_argument("--asked", type=int, default=1_000, help="names asked in each part")
    parser.add_argument("--folder", type=Path, help="where to write; kept. Without: a temporary folder")
    parser.add_argument("--molluscs", type=Path, help="table of misspelt and reconciled names")
    parser.add_argument("--others", type=int, default=1_000_000, help="names beside the reconciled ones")
    parser.add_argument("--database-url", default="", help="a PostgreSQL database to use and fill")
    parser.add_argument("--part", choices=list(_PARTS), help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    if options.part:
        _PARTS[options.part](options)
        return 0
    place = tempfile.TemporaryDirectory(prefix="tidetally-bench-") if not options.folder else None
    with place or nullcontext(options.folder) as folder:
        if options.names:
            _full_size(Path(folder) / "full", options)
        if options.molluscs:
            _molluscs(Path(folder) / "molluscs", options)
    return 0


def _full_size(folder: Path, options: argparse.Namespace) -> None:
    print(f"{options.names:,} names, {options.asked:,} asked", flush=True)
    for what, part in (
        ("archive written", "write"),
        ("load", "load"),
        ("exact", "exact"),
        ("near, one by one", "near"),
        ("near, in one batch", "batch"),
        ("rapidfuzz over all names", "baseline"),
    ):
        _measure(what, part, folder, options)
    started = time.perf_counter()
    command = [sys.executable, "manage.py", "check_names", str(folder / "dirty.txt"), "--format", "csv"]
    done = subprocess.run(
        command, cwd=PROJECT, env=_environment(folder, options), check=True, capture_output=True, text=True
    )
    verdicts = [row["verdict"] for row in csv.DictReader(done.stdout.splitlines())]
    counted = ", ".join(f"{verdicts.count(kind)} {kind}" for kind in sorted(set(verdicts)))
    seconds = time.perf_counter() - started
    print(
        f"{'command check_names':<28} {seconds:.1f} s for {len(verdicts)} dirty names: {counted}", flush=True
    )


def _molluscs(folder: Path, options: argparse.Namespace) -> None:
    print(f"misspelt molluscs, the reconciled names among {options.others:,} others", flush=True)
    for what, part in (("archive written", "write_molluscs"), ("load", "load"), ("first choice", "molluscs")):
        _measure(what, part, folder, options)


def _measure(what: str, part: str, folder: Path, options: argparse.Namespace) -> None:
    """Runs one part in a process of its own, which prints its figures."""
    folder.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-m", "tests.benchmarks.bench_names", "--part", part, "--folder", str(folder)]
    command += ["--names", str(options.names), "--asked", str(options.asked), "--others", str(options.others)]
    if options.molluscs:
        command += ["--molluscs", str(options.molluscs)]
    done = subprocess.run(
        command, cwd=PROJECT, env=_environment(folder, options), check=False, capture_output=True, text=True
    )
    if done.returncode:
        raise SystemExit(f"{what}: {done.stderr}")
    print(f"{what:<28} {done.stdout.strip()}", flush=True)


def _environment(folder: Path, options: argparse.Namespace) -> dict[str, str]:
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"} | {
        "TIDETALLY_DATA": str(folder),
        "TIDETALLY_SECRET_KEY": "for the benchmark only",
        "DJANGO_SETTINGS_MODULE": "inventory.site.settings",
    }
    return environment | ({"DATABASE_URL": options.database_url} if options.database_url else {})


# The parts. Each prints one line.


def _write(options: argparse.Namespace) -> None:
    def write() -> str:
        written = write_backbone(options.folder / "archive", options.names)
        dice = random.Random(20261125)
        names = dice.sample(written.sample, min(len(written.sample), 10 * options.asked))
        wanted = names[: options.asked]
        slips = [(misspelt(name, 1 + at % 2, dice), name) for at, name in enumerate(wanted)]
        (options.folder / "asked.json").write_text(json.dumps({"exact": names, "slips": slips}))
        lines = [_dirty(at, name, dice) for at, name in enumerate(wanted)]
        (options.folder / "dirty.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
        size = sum(path.stat().st_size for path in (options.folder / "archive").iterdir())
        return f"{written.names:,} names, {size / 1e6:,.0f} MB"

    _timed(write)


def _dirty(at: int, name: str, dice: random.Random) -> str:
    """Ten ways in which a line is dirty, one after the other."""
    genus, epithet = name.split(" ")[:2]
    return (
        f"{name} Brandeggen, 1900",
        misspelt(name, 1, dice),
        misspelt(name, 2, dice),
        f"  {name.upper()} ",
        f"{misspelt(name, 1, dice)} juv.",
        f"{genus} sp.",
        f"{genus[0]}. {epithet}",
        f"{misspelt(genus, 1, dice)}",
        f"{genus} cf. {epithet}",
        f"{name[::-1].capitalize()} 12",
    )[at % 10]


def _load(options: argparse.Namespace) -> None:
    _django()
    from django.core.management import call_command

    from inventory.doors.clock import now
    from inventory.names.actions.backbone import load_release

    call_command("migrate", verbosity=0)
    steps: dict[str, float] = {}

    def tell(step: str, _share: float | None) -> None:
        steps.setdefault(step, time.perf_counter())

    def load() -> str:
        loaded = load_release(options.folder / "archive", now=now(), tell=tell)
        times = [*steps.values(), time.perf_counter()]
        spent = "; ".join(f"{step} {times[at + 1] - times[at]:.0f}" for at, step in enumerate(steps))
        size = _size(options.folder)
        of = (
            f"{loaded.usages:,} names, {loaded.synonyms:,} synonyms, {loaded.vernacular_names:,} common names"
        )
        return f"{of}, store {size / 1e6:,.0f} MB [seconds: {spent}]"

    _timed(load)


def _size(folder: Path) -> int:
    """Bytes of the store: of its file, or of its tables with their indexes."""
    from django.db import connection

    if connection.vendor != "postgresql":
        return sum(path.stat().st_size for path in (folder / "backbone").glob("*.sqlite3"))
    with connection.cursor() as cursor:
        sizes = "SELECT sum(pg_total_relation_size(oid)) FROM pg_class WHERE relkind = 'r'"
        cursor.execute(f"{sizes} AND relname LIKE 'backbone~_%' ESCAPE '~'")
        return int(cursor.fetchone()[0])


def _exact(options: argparse.Namespace) -> None:
    store, asked = _store(), _asked(options)["exact"]

    def ask() -> str:
        first, again = (seconds / len(asked) * 1e6 for seconds in _times([asked, asked], store.named))
        assert set(store.named(asked)) == set(asked)
        one = _times([[name] for name in asked[:1_000]], store.named)
        alone = statistics.median(one) * 1e6
        batch = f"{first:.0f} µs a name in a first batch of {len(asked):,}, {again:.0f} µs in a second"
        return f"{batch}; alone median {alone:.0f} µs"

    _timed(ask)


def _near(options: argparse.Namespace) -> None:
    from inventory.names.rules.distance import name_distance
    from inventory.names.rules.parse import Reading

    store, slips = _store(), _asked(options)["slips"]

    def ask() -> str:
        found, nearer, beyond = 0, 0, 0
        times = []
        for typed, meant in slips:
            reading = Reading(*typed.split(" "))
            started = time.perf_counter()
            near = store.near([reading]).get(reading, [])
            times.append(time.perf_counter() - started)
            distances = name_distance(tuple(typed.split(" ")), tuple(meant.split(" ")))
            names = {one.usage.canonical_name for one in near}
            if meant in names:
                found += 1
            elif distances is None:
                beyond += 1
            elif near and near[0].total < sum(distances):
                nearer += 1
        times.sort()
        within = len(slips) - beyond
        median, p95 = statistics.median(times), times[int(len(times) * 0.95)]
        return (
            f"median {median * 1e3:.1f} ms, p95 {p95 * 1e3:.1f} ms,"
            f" longest {times[-1] * 1e3:.0f} ms; of {within} within the limits {found} found,"
            f" {nearer} had another name nearer, {within - found - nearer} missed"
        )

    _timed(ask)


def _batch(options: argparse.Namespace) -> None:
    from inventory.names.rules.parse import Reading

    store = _store()
    readings = [Reading(*typed.split(" ")) for typed, _ in _asked(options)["slips"]]

    def ask() -> str:
        started = time.perf_counter()
        found = store.near(readings)
        each = (time.perf_counter() - started) / len(readings)
        return f"{each * 1e3:.1f} ms a name; {len(found)} of {len(readings)} have a name near"

    _timed(ask)


def _baseline(options: argparse.Namespace) -> None:
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    from inventory.names.rules.distance import name_distance
    from inventory.names.rules.parse import Reading

    with (options.folder / "archive" / "Taxon.tsv").open(encoding="utf-8") as lines:
        next(lines)
        names = [line.split("\t", 5)[4] for line in lines]
    store = _store()

    def least(typed: str) -> set[str]:
        query = tuple(typed.split(" "))
        # Seven, for a wrong ending of gender counts one and may differ by four letters more.
        near = process.extract(typed, names, scorer=OSA.distance, score_cutoff=7, limit=None)
        rough = {name for name, _, _ in near}
        known = {name: name_distance(query, tuple(name.split(" "))) for name in rough}
        totals = {name: sum(distances) for name, distances in known.items() if distances is not None}
        return {name for name, total in totals.items() if total == min(totals.values())}

    def ask() -> str:
        slips = [typed for typed, _ in _asked(options)["slips"]][:_BASELINE_QUERIES]
        plain = _times(slips, partial(process.extract, choices=names, scorer=OSA.distance, score_cutoff=3))
        same = 0
        for typed in slips:
            reading = Reading(*typed.split(" "))
            near = store.near([reading]).get(reading, [])
            same += {one.usage.canonical_name for one in near} == least(typed)
        median = statistics.median(plain) * 1e3
        return f"median {median:.0f} ms a name; the store found the very same for {same} of {len(slips)}"

    _timed(ask)


def _write_molluscs(options: argparse.Namespace) -> None:
    def write() -> str:
        with options.molluscs.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        also = {row["reconciled_canonical"]: row["reconciled"] for row in rows}
        authors = [(name, _author(name, full)) for name, full in also.items()]
        written = write_backbone(options.folder / "archive", options.others, also=authors)
        return f"{written.names:,} names and {len(authors)} reconciled"

    _timed(write)


def _author(canonical: str, full: str) -> str:
    """What follows the last word of the name."""
    last = canonical.rsplit(" ", 1)[-1]
    return full.rpartition(f" {last} ")[2] if f" {last} " in full else ""


def _molluscs_read(options: argparse.Namespace) -> None:
    _django()
    from inventory.names.queries.verdicts import verdicts_for
    from inventory.names.rules.match import Asked

    def ask() -> str:
        with options.molluscs.open(encoding="utf-8", newline="") as lines:
            rows = list(csv.DictReader(lines))
        lines_out = []
        for column in ("typed", "typed_canonical"):
            _, verdicts = verdicts_for([Asked(row[column]) for row in rows])
            first, wrong, misses = 0, [], []
            for row, verdict in zip(rows, verdicts, strict=True):
                meant = row["reconciled_canonical"]
                choice = verdict.name or next((one.name for one in verdict.choices), "")
                first += choice == meant
                if choice != meant:
                    misses.append(
                        f"{row[column]} -> {meant}: {verdict.verdict} {verdict.choices_text()[:80]}"
                    )
                if verdict.is_certain and verdict.name != meant:
                    wrong.append(f"{row[column]} -> {verdict.name}, meant {meant}")
            share = f"{first / len(rows):.1%} first choice, {len(wrong) / len(rows):.2%} wrongly taken"
            lines_out.append(f"{'with' if column == 'typed' else 'without'} author: {share}")
            (options.folder / f"misses_{column}.txt").write_text("\n".join([*wrong, "", *misses]))
        return "; ".join(lines_out) + f" (of {len(rows)})"

    _timed(ask)


# What the parts share.


def _django() -> None:
    import django

    django.setup()


def _store() -> Any:
    _django()
    from inventory.names.queries.store import current_release, release_names

    release = current_release()
    assert release is not None
    return release_names(release)


def _asked(options: argparse.Namespace) -> Any:
    return json.loads((options.folder / "asked.json").read_text())


def _times(values: Sequence[Any], ask: Callable[[Any], object]) -> list[float]:
    times = []
    for value in values:
        started = time.perf_counter()
        ask(value)
        times.append(time.perf_counter() - started)
    return times


def _timed(work: Callable[[], str]) -> None:
    started = time.perf_counter()
    said = work()
    seconds = time.perf_counter() - started
    used = resource.getrusage(resource.RUSAGE_SELF)
    processor = used.ru_utime + used.ru_stime
    print(f"{seconds:>7.1f} s, {processor:>6.1f} of processor, {used.ru_maxrss / 1024:>6.0f} MiB   {said}")


_PARTS: dict[str, Callable[[argparse.Namespace], None]] = {
    "write": _write,
    "load": _load,
    "exact": _exact,
    "near": _near,
    "batch": _batch,
    "baseline": _baseline,
    "write_molluscs": _write_molluscs,
    "molluscs": _molluscs_read,
}

if __name__ == "__main__":
    sys.exit(main())
