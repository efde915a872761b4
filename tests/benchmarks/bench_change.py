"""How long the population change takes in a house of 1,000,000 flows and 20,000 lots.

    python -m tests.benchmarks.bench_change [--flows N] [--lots N] [--years N] [--repeat N]

Builds the house in a scratch folder, measures the report without and with period snapshots, its
page and its csv, and beside them, in the same run and on the same data, what the fastest plain
queries take: DuckDB on Parquet and SQLite's own GROUP BY. Medians of ``--repeat`` runs, elapsed and in
processor time, which says more on a machine that is busy with other work (DuckDB uses all cores).
"""

import argparse
import contextlib
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Benchmark of the population change.")
    parser.add_argument("--flows", type=int, default=1_000_000)
    parser.add_argument("--lots", type=int, default=20_000)
    parser.add_argument("--years", type=int, default=10, help="years over which the flows are spread")
    parser.add_argument("--repeat", type=int, default=5)
    parser.add_argument("--keep", metavar="FOLDER", help="an empty folder that keeps the house built")
    options = parser.parse_args(arguments)
    if options.keep:
        scratch: Any = contextlib.nullcontext(options.keep)
    else:
        scratch = tempfile.TemporaryDirectory(prefix="tidetally-bench-")
    with scratch as folder:
        _settle_in(folder)
        print(f"{'median':<64} {'elapsed':>9}    {'processor':>9}")
        for what, elapsed, processor in measure(options, Path(folder)):
            print(f"{what:<64} {elapsed * 1000:>9,.0f} ms {processor * 1000:>9,.0f} ms", flush=True)
    return 0


def _settle_in(folder: str) -> None:
    """An empty house of its own; nothing beside the project is touched."""
    os.environ.pop("DATABASE_URL", None)
    os.environ["TIDETALLY_DATA"] = folder
    os.environ["TIDETALLY_SQLITE"] = str(Path(folder) / "bench.sqlite3")
    os.environ["TIDETALLY_SECRET_KEY"] = "for the benchmark only"
    os.environ["DJANGO_SETTINGS_MODULE"] = "inventory.site.settings"
    import django

    django.setup()


def measure(options: argparse.Namespace, folder: Path) -> Any:
    """Yields (what, median seconds elapsed, median seconds of processor time)."""
    from datetime import UTC, datetime, timedelta

    from django.core.management import call_command
    from django.utils.timezone import get_current_timezone

    from census.change.queries.report import change_report
    from census.change.rules.question import By, Question
    from inventory.book.actions.close import close_period
    from inventory.book.models import Cell, Flow, Period
    from inventory.people.models import Person

    from .house import Size, build

    zone = get_current_timezone()
    size = Size(flows=options.flows, lots=options.lots, years=options.years)

    def settle() -> None:
        call_command("migrate", verbosity=0)
        build(size)

    yield from _timed("building the house (once)", settle)
    print(
        f"{Flow.objects.count():,} flows, {size.lots:,} lots, {Cell.objects.count():,} cells,"
        f" {size.years} years"
    )
    quarter = Question(date(2026, 7, 1), date(2026, 9, 30))
    running = Question(date(2026, 10, 1), size.last_day)

    def report(question: Question) -> None:
        found = change_report(question, zone=zone)
        if found.untied:
            sys.exit(f"{len(found.untied)} rows do not tie")

    def repeated(what: str, work: Callable[[], object]) -> Any:
        return _timed(what, work, options.repeat)

    for by in By:
        asked = Question(quarter.first_day, quarter.last_day, by=by)
        yield from repeated(f"change of a quarter by {by}, no snapshot", partial(report, asked))
    yield from repeated(
        "change of a year by taxon, no snapshot",
        lambda: report(Question(date(2025, 10, 1), date(2026, 9, 30))),
    )
    yield from repeated("csv of a quarter through the command, no snapshot", lambda: _command(quarter))
    signer = Person.objects.get(name="Bench Writer")
    for code, first, last in (
        ("2026 Q2", date(2026, 4, 1), date(2026, 6, 30)),
        ("2026 Q3", quarter.first_day, quarter.last_day),
    ):
        period = Period.objects.create(code=code, starts_on=first, ends_on=last)
        closed_at = datetime.combine(last + timedelta(days=15), datetime.min.time(), UTC)
        yield from _timed(
            f"closing {code}",
            partial(close_period, period, closed_at=closed_at, signed_by=signer, zone=zone),
        )
    yield from repeated("change of the closed quarter by taxon, snapshots", lambda: report(quarter))
    yield from repeated("change of the running quarter by taxon, snapshots", lambda: report(running))
    yield from repeated("csv of the closed quarter through the command, snapshots", lambda: _command(quarter))
    yield from repeated("page of the closed quarter, snapshots", _page(quarter))
    yield from _floor(options, folder, quarter)


def _command(question: Any) -> None:
    from io import StringIO

    from django.core.management import call_command

    call_command(
        "change",
        f"--from={question.first_day}",
        f"--to={question.last_day}",
        "--format=csv",
        stdout=StringIO(),
    )


def _page(question: Any) -> Callable[[], object]:
    from django.contrib.auth import get_user_model
    from django.contrib.auth.models import Group
    from django.test import Client
    from django.urls import reverse

    from inventory.people.models import Person

    user = get_user_model().objects.create_user("bench")
    user.groups.add(Group.objects.get_or_create(name="registrar")[0])
    Person.objects.create(name="Bench Reader", user=user)
    client = Client(headers={"host": "localhost"})
    client.force_login(user)

    def get() -> None:
        answer = client.get(
            reverse("change"), {"first_day": question.first_day, "last_day": question.last_day}
        )
        if answer.status_code != 200:
            sys.exit(f"the page answered {answer.status_code}")

    return get


_FLOOR_DUCKDB = """
WITH both_ways AS (
  SELECT to_cell AS cell, from_cell AS other, n, effective_at FROM flows WHERE effective_at < '2026-10-01'
  UNION ALL
  SELECT from_cell, to_cell, -n, effective_at FROM flows WHERE effective_at < '2026-10-01')
SELECT c.taxon_id, CASE WHEN effective_at < '2026-07-01' THEN 'opening' ELSE o.cause END AS col, SUM(n)
  FROM both_ways b JOIN cells c ON c.id = b.cell JOIN cells o ON o.id = b.other
 WHERE c.inside GROUP BY ALL
"""

_FLOOR_SQLITE = """
SELECT cell, SUM(n) FROM (
  SELECT to_cell_id AS cell, SUM(n) AS n FROM book_flow WHERE effective_at < '2026-10-01' GROUP BY to_cell_id
  UNION ALL
  SELECT from_cell_id, -SUM(n) FROM book_flow WHERE effective_at < '2026-10-01' GROUP BY from_cell_id
) GROUP BY cell
"""


def _floor(options: argparse.Namespace, folder: Path, question: Any) -> Any:
    """The same data in the fastest plain queries: no scope, no sexes, no names, no young."""
    import duckdb
    from django.db import connection

    flows, cells = folder / "flows.parquet", folder / "cells.parquet"
    duck = duckdb.connect()
    with connection.cursor() as cursor:
        for path, sql in (
            (
                flows,
                "SELECT from_cell_id AS from_cell, to_cell_id AS to_cell, n, effective_at FROM book_flow",
            ),
            (
                cells,
                "SELECT c.id, c.inside, l.taxon_id, a.cause FROM book_cell c"
                " JOIN book_lot l ON l.id = c.lot_id JOIN book_account a ON a.id = c.account_id",
            ),
        ):
            cursor.execute(sql)
            import pandas as pd

            frame = pd.DataFrame(cursor.fetchall(), columns=[column[0] for column in cursor.description])
            duck.register("frame", frame)
            duck.execute(f"COPY frame TO '{path}' (FORMAT parquet)")
    duck.execute(f"CREATE VIEW flows AS SELECT * FROM '{flows}'")
    duck.execute(f"CREATE VIEW cells AS SELECT * FROM '{cells}'")

    def sqlite() -> None:
        with connection.cursor() as cursor:
            cursor.execute(_FLOOR_SQLITE)
            cursor.fetchall()

    yield from _timed(
        "floor: the columns in one DuckDB query on Parquet",
        lambda: duck.execute(_FLOOR_DUCKDB).fetchall(),
        options.repeat,
    )
    yield from _timed("floor: one balance, two GROUP BYs of SQLite added", sqlite, options.repeat)


def _timed(what: str, work: Callable[[], object], repeat: int = 1) -> Any:
    spent = []
    for _ in range(repeat):
        wall, cpu = time.perf_counter(), time.process_time()
        work()
        spent.append((time.perf_counter() - wall, time.process_time() - cpu))
    yield what, statistics.median(wall for wall, _ in spent), statistics.median(cpu for _, cpu in spent)


if __name__ == "__main__":
    sys.exit(main())
