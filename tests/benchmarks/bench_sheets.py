"""How fast count sheets are printed, and in how much memory.

    .venv/bin/python -m tests.benchmarks.bench_sheets [PAGES]

Sheets with lines of every kind (countable, many, presence, known animals) until there are PAGES pages (100).
Every line has its own names, so that nothing is measured twice and kept. Memory is the most that the process
held over what it held before, and all of it.
"""

import os
import resource
import sys
import time
from io import BytesIO
from typing import Any

import django


def _sheets(pages: int) -> list[Any]:
    """Blind sheets of about three pages each."""
    from census.rounds.queries.blind import BlindIndividual, BlindLine, BlindSheet

    def line(sheet: int, n: int) -> BlindLine:
        count_class = "BBBBCBBDBA"[n % 10]
        name = f"Exemplum numero{sheet}x{n}"
        animals = [BlindIndividual(f"{sheet}-{n}-{k}", f"Animal {sheet}.{n}.{k}", "notch") for k in range(4)]
        return BlindLine(
            number=n,
            place=f"K{sheet}",
            name=name,
            common_name=f"Common {name}",
            unit="animal",
            count_class=count_class,
            presence=count_class == "D",
            individuals=tuple(animals) if count_class == "A" else (),
            marks="",
            note="",
        )

    return [
        BlindSheet(
            number=f"CS-26Q3-{number:02d}",
            place=f"K{number}",
            place_name=f"Hall {number}",
            list_version="1",
            windows=1,
            letter=False,
            round=1,
            counters=("Alda",),
            lines=tuple(line(number, n) for n in range(1, 31)),
        )
        for number in range(1, pages // 3 + 2)
    ]


def _memory() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main(pages: int) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.settings")
    django.setup()
    from census.rounds.writers.sheet_pdf import write_pdf

    sheets = _sheets(pages)
    before = _memory()
    started, worked = time.perf_counter(), time.process_time()
    out = BytesIO()
    written = write_pdf(sheets, out)
    took, used = time.perf_counter() - started, time.process_time() - worked
    print(f"{len(sheets)} sheets, {written} pages, {sum(len(s.lines) for s in sheets)} lines, ", end="")
    print(f"{len(out.getvalue()) / 1024:,.0f} KiB")
    print(f"{took:.2f} s, {used:.2f} s of processor; a page {1000 * took / written:.1f} ms")
    print(f"most memory {_memory():.0f} MiB, {_memory() - before:.0f} MiB more than before printing")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
