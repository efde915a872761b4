"""How long the pages of the populations take, beside one plain read of the same flows.

    python -m tests.benchmarks.bench_population [--flows N] [--lots N] [--years N] [--repeat N]

Builds a house in a scratch folder and asks each question of the newest quarter of the whole house: the first
time, when the process has yet to reckon the limits of the watch, then the median of more.
"""

import argparse
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta

from .bench_change import _settle_in


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Benchmark of the populations.")
    parser.add_argument("--flows", type=int, default=100_000)
    parser.add_argument("--lots", type=int, default=4_000)
    parser.add_argument("--years", type=int, default=10)
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="tidetally-bench-") as folder:
        _settle_in(folder)
        _measure(options)
    return 0


def _measure(options: argparse.Namespace) -> None:
    from django.core.management import call_command
    from django.db import connection
    from django.urls import reverse
    from django.utils.timezone import get_current_timezone

    from census.change.rules.question import last_quarter
    from census.population.rules.asked import Asked
    from census.population.writers.methods import METHODS
    from census.population.writers.setting import Setting
    from inventory.book.models import Flow

    from .house import Size, build

    call_command("migrate", verbosity=0)
    build(Size(flows=options.flows, lots=options.lots, years=options.years))
    zone = get_current_timezone()
    newest = Flow.objects.order_by("-effective_at").values_list("effective_at", flat=True)[0]
    today = (newest or datetime.now(UTC)).astimezone(zone).date() + timedelta(days=1)
    first, last = last_quarter(today)
    asked, setting = Asked(first, last, today), Setting(zone, compares=True)

    def plain() -> None:
        with connection.cursor() as cursor:
            cursor.execute("SELECT from_cell_id, to_cell_id, effective_at, n FROM book_flow")
            cursor.fetchall()

    reverse("change_events")  # which reads all addresses of the site, once in a process
    print(f"{'':<44} {'first':>12} {'warm':>12}", flush=True)
    _told("one plain read of all flows", plain, options.repeat)
    for method in METHODS.values():
        _told(method.words, lambda method=method: method.answer(asked, setting), options.repeat)  # type: ignore[misc]


def _told(what: str, run: Callable[[], object], repeat: int) -> None:
    first, *warm = [_seconds(run) for _ in range(repeat + 1)]
    print(f"{what:<44} {first * 1000:>9,.0f} ms {statistics.median(warm) * 1000:>9,.0f} ms", flush=True)


def _seconds(run: Callable[[], object]) -> float:
    began = time.perf_counter()
    run()
    return time.perf_counter() - began


if __name__ == "__main__":
    sys.exit(main())
