"""How long each report takes in a house of 1,000,000 flows and 100,000 lots: its page, and a long workbook.

    python -m tests.benchmarks.bench_reports [--flows N] [--lots N] [--repeat N] [--keep FOLDER] [LAYOUT ...]

Builds the house in a scratch folder (one given by ``--keep`` is built once and used again), closes four
quarters, and asks for each layout's page as a browser would. *Cold*: nothing is remembered of any report,
as after each entry in the book; median of three, elapsed and in processor time. *Warm*: asked again; p50
and p95 of ``--repeat`` requests, and p95 of their processor time, for a busy machine adds to what elapses.
Then the same of the quarter that is running, or of years up to its end: *cold*, and *after an entry*, a death
in that quarter which the ledger's own writer posts before each request; medians, elapsed and in processor
time. A house that is kept has those deaths in it from then on. Then the longest workbook, and its first
20,000 rows by themselves, each in a process of its own: seconds elapsed and of processor time, and the most
memory.
"""

import argparse
import contextlib
import math
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

FIRST, LAST = date(2026, 7, 1), date(2026, 9, 30)
CLOSED = (
    ("2025 Q4", date(2025, 10, 1), date(2025, 12, 31)),
    ("2026 Q1", date(2026, 1, 1), date(2026, 3, 31)),
    ("2026 Q2", date(2026, 4, 1), date(2026, 6, 30)),
    ("2026 Q3", FIRST, LAST),
)
# The quarter that is running, and a day of it on which animals die.
RUNNING = date(2026, 10, 1), date(2026, 12, 31)
DEATHS_ON = date(2026, 10, 21)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Benchmark of the reports.")
    parser.add_argument("layouts", nargs="*", metavar="LAYOUT", help="only these")
    parser.add_argument("--flows", type=int, default=1_000_000)
    parser.add_argument("--lots", type=int, default=100_000)
    parser.add_argument("--repeat", type=int, default=20)
    parser.add_argument("--keep", metavar="FOLDER", help="keeps the house, or uses the one that is there")
    parser.add_argument("--workbook", metavar="FILE", help=argparse.SUPPRESS)
    parser.add_argument("--rows", type=int, default=0, help=argparse.SUPPRESS)
    options = parser.parse_args(arguments)
    scratch: Any = (
        contextlib.nullcontext(options.keep)
        if options.keep
        else tempfile.TemporaryDirectory(prefix="tidetally-bench-")
    )
    with scratch as folder:
        _settle_in(folder)
        if options.workbook:
            return _workbook(options.workbook, options.rows)
        _house(options, Path(folder))
        _serve_as_a_house_does()
        _pages(options)
        _after_entries(options)
        _long_workbook(options, Path(folder))
    return 0


def _settle_in(folder: str) -> None:
    from .bench_change import _settle_in as settle_in

    settle_in(folder)


def _house(options: argparse.Namespace, folder: Path) -> None:
    from datetime import UTC

    from django.core.management import call_command
    from django.utils.timezone import get_current_timezone

    from inventory.book.actions.close import close_period
    from inventory.book.models import Cell, Flow, Period
    from inventory.people.models import Person

    from .house import Size, build

    call_command("migrate", verbosity=0)
    if not Flow.objects.exists():
        build(Size(flows=options.flows, lots=options.lots))
    signer = Person.objects.get(name="Bench Writer")
    for code, first, last in CLOSED:
        period, _ = Period.objects.get_or_create(code=code, starts_on=first, ends_on=last)
        if not period.versions.exists():
            closed_at = datetime.combine(last + timedelta(days=15), datetime.min.time(), UTC)
            close_period(period, closed_at=closed_at, signed_by=signer, zone=get_current_timezone())
    print(f"{Flow.objects.count():,} flows, {options.lots:,} lots, {Cell.objects.count():,} cells")


def _serve_as_a_house_does() -> None:
    from inventory.doors.settled import settle_in

    settle_in()


_Address = tuple[str, dict[str, str]]


def _addresses(first_day: date = FIRST, last_day: date = LAST) -> dict[str, _Address]:
    """Name of the measured page to its address and what it is asked, of a quarter or of what ends with it."""
    from django.urls import reverse

    from census.reports.queries.layouts import LAYOUTS
    from inventory.names.models import Taxon

    days = {"first_day": str(first_day), "last_day": str(last_day)}
    pages = {"change by taxon": (reverse("change"), days)}
    pages["change by place"] = (reverse("change"), {**days, "by": "place"})
    pages["change by lot"] = (reverse("change"), {**days, "by": "lot"})
    for name, layout in LAYOUTS.items():
        first, last = layout.period(last_day + timedelta(days=1))
        asked = {"first_day": str(first), "last_day": str(last)}
        if layout.subject:
            asked["subject"] = Taxon.objects.order_by("pk")[5].scientific_name
        pages[name] = (reverse("report", args=[name]), asked)
    return pages


def _client() -> Any:
    from django.contrib.auth import get_user_model
    from django.contrib.auth.models import Group
    from django.test import Client

    from inventory.people.models import Person

    user, made = get_user_model().objects.get_or_create(username="bench")
    if made:
        user.groups.add(Group.objects.get_or_create(name="registrar")[0])
        Person.objects.create(name="Bench Reader", user=user)
    client = Client(headers={"host": "localhost"})
    client.force_login(user)
    return client


def _pages(options: argparse.Namespace) -> None:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    client = _client()
    heads = ("cold", "processor", "warm p50", "warm p95", "processor")
    print(f"{'page':<18} {' '.join(f'{head:>10}' for head in heads)}  queries warm     kB")

    for name, address in _addresses().items():
        if options.layouts and name not in options.layouts:
            continue
        cold = []
        for _ in range(3):
            _forget()
            cold.append(_get(client, address)[:2])
        _forget()
        counts = []
        for _ in range(2):
            with CaptureQueriesContext(connection) as asked:
                _get(client, address)
            counts.append(len(asked))
        warm, warm_busy = zip(*(_get(client, address)[:2] for _ in range(options.repeat)), strict=True)
        figures = (
            statistics.median(elapsed for elapsed, _ in cold),
            statistics.median(busy for _, busy in cold),
            statistics.median(warm),
            _p95(warm),
            _p95(warm_busy),
        )
        told = " ".join(f"{figure * 1000:>7,.0f} ms" for figure in figures)
        print(
            f"{name:<18} {told} {counts[0]:>8} {counts[1]:>5} {_get(client, address)[2] // 1024:>6,}",
            flush=True,
        )


def _get(client: Any, address: _Address) -> tuple[float, float, int]:
    """Seconds elapsed and of processor time, and the bytes of the page."""
    start, busy = time.perf_counter(), time.process_time()
    answer = client.get(*address)
    spent, busy = time.perf_counter() - start, time.process_time() - busy
    if answer.status_code != 200:
        sys.exit(f"{address} answered {answer.status_code}")
    return spent, busy, len(answer.content)


def _after_entries(options: argparse.Namespace) -> None:
    """The first page after each entry, of the quarter in which the entries are."""
    client = _client()
    heads = ("cold", "processor", "after", "processor")
    print(f"{'running, an entry':<18} {' '.join(f'{head:>10}' for head in heads)}")
    for name, address in _addresses(*RUNNING).items():
        if options.layouts and name not in options.layouts:
            continue
        cold, after = [], []
        for _ in range(3):
            _forget()
            cold.append(_get(client, address)[:2])
        for _ in range(5):
            _enter_a_death()
            after.append(_get(client, address)[:2])
        figures = [statistics.median(column) for told in (cold, after) for column in zip(*told, strict=True)]
        print(f"{name:<18} {' '.join(f'{figure * 1000:>7,.0f} ms' for figure in figures)}", flush=True)


def _enter_a_death() -> None:
    """One animal of the holding with most of them dies on a day of the running quarter."""
    from inventory.book.models import Cell, Event
    from tests.factories import make_event

    most = Cell.objects.filter(inside=True, standing="present", sex="unknown").select_related(
        "lot", "account__place"
    )
    cell = most.order_by("-balance").first()
    newest = Event.objects.order_by("-entered_at").first()
    if cell is None or newest is None:
        sys.exit("the house has no animals")
    make_event(
        "died",
        lot=cell.lot,
        place=cell.account.place,
        stage=cell.stage,
        happened=str(DEATHS_ON),
        entered_by="Bench Writer",
        now=newest.entered_at + timedelta(minutes=1),
    )


def _p95(figures: Sequence[float]) -> float:
    return sorted(figures)[math.ceil(0.95 * len(figures)) - 1]


def _forget() -> None:
    """As after an entry: every report has to be worked out again."""
    from census.change.queries import remembered
    from census.reports.queries import checked, documents, permits
    from inventory.book.queries import kept_columns
    from inventory.book.queries.quantities import sources, traces

    for room in (permits, kept_columns, sources, traces):
        room.forget()
    remembered._reports.clear()
    checked._known.clear()
    documents.forget()


def _long_workbook(options: argparse.Namespace, folder: Path) -> None:
    if options.layouts and "workbook" not in options.layouts:
        return
    for rows in (0, 20_000):
        command = [
            sys.executable,
            "-m",
            "tests.benchmarks.bench_reports",
            f"--keep={folder}",
            f"--workbook={folder / 'long.xlsx'}",
            f"--rows={rows}",
        ]
        run = subprocess.run(
            command, capture_output=True, text=True, check=False, env=dict(os.environ), timeout=600
        )
        if run.returncode:
            sys.exit(run.stderr)
        print(run.stdout.strip(), flush=True)


def _workbook(path: str, most: int) -> int:
    """The exhibits of a quarter as a workbook, which has a row for each taxon in each place."""
    from django.utils.timezone import get_current_timezone

    from census.change.rules.question import Question
    from census.reports.files.workbook import write_workbook
    from census.reports.queries.layouts import LAYOUTS
    from census.reports.rules.said import Saying
    from inventory.doors.clock import now

    start, busy = time.perf_counter(), time.process_time()
    saying = Saying(get_current_timezone(), words=False)
    document = LAYOUTS["exhibits"].answer(Question(FIRST, LAST), saying)
    if most:
        document = _first_places(document, most)
    made = time.process_time() - busy
    write_workbook(document, path, made_at=now(), made="")
    spent, busy = time.perf_counter() - start, time.process_time() - busy
    print(
        f"workbook by exhibit{', the first of its places' if most else ''}: {document.lines:,} rows,"
        f" {spent:.1f} s elapsed, {busy:.1f} s of the processor ({made:.1f} s of it for the whole report"
        f" before a row is written), {_most_memory():,.0f} MiB at most, with all of Django"
    )
    return 0


def _first_places(document: Any, most: int) -> Any:
    """The report of so many places as have about ``most`` rows. What the house says of all its places does
    not hold for them, and is left out."""
    from dataclasses import replace

    places, kept, rows = document.part("places"), [], 0
    for block in places.blocks:
        if rows >= most:
            break
        kept.append(block)
        rows += sum(len(table.lines) for table in block.tables)
    return replace(document, parts=[replace(places, blocks=kept)], said=())


def _most_memory() -> float:
    """MiB of this program. Not ``ru_maxrss``, which on Linux begins with what the program that started this
    one had at most: after the pages a workbook seemed to take twice as much."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmHWM:"):
            return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    sys.exit(main())
