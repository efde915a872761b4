"""How long ``load`` takes for 200,000 event rows, as a workbook and as csv, and in how much memory.

    python -m tests.benchmarks.bench_load [--rows N] [--lots N] [--only xlsx|csv]

Each file is loaded into an empty house of its own by a process of its own, as the command does it;
then it is loaded a second time, which must change nothing. Beside it, in the same run, stand the
floors: a plain read of the same file by openpyxl's read-only mode, and by the csv module.
"""

import argparse
import csv
import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).resolve().parents[2]
_DAYS = 1_500
_FIRST_DAY = date(2022, 1, 1)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Benchmark of load.")
    parser.add_argument("--rows", type=int, default=200_000)
    parser.add_argument("--lots", type=int, default=5_000)
    parser.add_argument("--only", choices=["xlsx", "csv"])
    parser.add_argument("--part", choices=list(_PARTS), help=argparse.SUPPRESS)
    parser.add_argument("--path", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    if options.part:
        _PARTS[options.part](options.path)
        return 0
    with tempfile.TemporaryDirectory(prefix="tidetally-bench-") as folder:
        for form in (options.only,) if options.only else ("xlsx", "csv"):
            path = _WRITERS[form](Path(folder) / f"house.{form}", house(options.rows, options.lots))
            _measure(f"plain read of the {form}", f"read_{form}", path, folder)
            house_folder = Path(folder) / form
            _measure(f"load of the {form}", "load", path, house_folder)
            _measure(f"load of the {form}, a second time", "load", path, house_folder)
    return 0


def house(rows: int, lots: int) -> dict[str, Iterator[list[Any]]]:
    """A house of 200 tanks with as many rows of events as asked: arrivals by sex, then moves and deaths."""
    lots = min(lots, rows)

    def events() -> Iterator[list[Any]]:
        yield [
            *("ref", "kind", "happened", "entered", "entered_by", "accession"),
            *("place", "to_place", "males", "females", "unknown", "cause", "note"),
        ]
        for n in range(rows):
            lot, round_ = n % lots, n // lots
            day = _FIRST_DAY + timedelta(days=(n * _DAYS) // rows)
            home = f"T{lot % 200}"
            row: list[Any] = [f"slip-{n}", "died", day, f"{day}T17:30", f"Keeper {n % 12}", f"L{lot}", home]
            if round_ == 0:
                row[1] = "received"
                row += [None, 40, 60, 300, None, None]
            elif round_ % 2:
                row[1] = "moved"
                row += [f"T{(lot + 1) % 200}", None, None, 3, None, None]
            else:
                row += [None, None, None, 1, "old age", f"slip {n} of the log"]
            yield row

    return {
        "places": iter(
            [["code", "name", "kind"], *([f"T{n}", f"Tank {n}", "tank"] for n in range(200))],
        ),
        "lots": iter(
            [
                ["accession", "name", "kind"],
                *([f"L{n}", f"Exemplum numero{n % 300}", "group"] for n in range(lots)),
            ],
        ),
        "events": events(),
    }


def _write_workbook(path: Path, sheets: dict[str, Iterator[list[Any]]]) -> Path:
    import openpyxl

    workbook = openpyxl.Workbook(write_only=True)
    for name, rows in sheets.items():
        sheet = workbook.create_sheet(name)
        for row in rows:
            sheet.append(row)
    workbook.save(path)
    return path


def _write_folder(path: Path, sheets: dict[str, Iterator[list[Any]]]) -> Path:
    path.mkdir()
    for name, rows in sheets.items():
        with (path / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(rows)
    return path


_WRITERS: dict[str, Callable[[Path, dict[str, Iterator[list[Any]]]], Path]] = {
    "xlsx": _write_workbook,
    "csv": _write_folder,
}


def _measure(what: str, part: str, path: Path, data: Path | str) -> None:
    """Runs one part in a process of its own and prints its seconds and its largest resident set."""
    Path(data).mkdir(exist_ok=True)
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"} | {
        "TIDETALLY_DATA": str(data),
        "TIDETALLY_SQLITE": str(Path(data) / "bench.sqlite3"),
        "TIDETALLY_SECRET_KEY": "for the benchmark only",
        "DJANGO_SETTINGS_MODULE": "inventory.site.settings",
    }
    command = [sys.executable, "-m", "tests.benchmarks.bench_load", "--part", part, "--path", str(path)]
    done = subprocess.run(
        command, cwd=PROJECT, env=environment, check=True, stdout=subprocess.PIPE, text=True
    )
    print(f"{what:<40} {done.stdout.strip()}", flush=True)


def _load(path: Path) -> None:
    import django

    django.setup()
    from io import StringIO

    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    summary = StringIO()
    _timed(lambda: call_command("load", str(path), "--format", "csv", stdout=summary, stderr=StringIO()))
    events = next(line for line in summary.getvalue().splitlines() if line.startswith("events"))
    print(f"   [{events}: rows, new, changed, already there]", end="")


def _read_workbook(path: Path) -> None:
    import openpyxl

    def read() -> int:
        workbook = openpyxl.load_workbook(path, read_only=True, data_only=True)
        return sum(1 for sheet in workbook.worksheets for _ in sheet.iter_rows(values_only=True))

    _timed(read)


def _read_folder(path: Path) -> None:
    def read() -> int:
        count = 0
        for file in path.glob("*.csv"):
            with file.open(encoding="utf-8", newline="") as lines:
                count += sum(1 for _ in csv.reader(lines))
        return count

    _timed(read)


def _timed(work: Callable[[], object]) -> None:
    started = time.perf_counter()
    work()
    seconds = time.perf_counter() - started
    used = resource.getrusage(resource.RUSAGE_SELF)
    processor = used.ru_utime + used.ru_stime
    print(f"{seconds:>8.1f} s {processor:>8.1f} s of processor {used.ru_maxrss / 1024:>6.0f} MiB", end="")


_PARTS: dict[str, Callable[[Path], None]] = {
    "load": _load,
    "read_xlsx": _read_workbook,
    "read_csv": _read_folder,
}

if __name__ == "__main__":
    sys.exit(main())
