"""Spoilt files for every importer: never a stack trace, never half loaded, never over 512 MiB.

    python -m tests.benchmarks.bench_fuzz --inputs 10000 --seed 1

Prints a table by importer and each finding, and exits with 1 when there is one. ``--json FILE`` keeps the
figures for ``bench_trust``. A file is made again by its seed and number: ``--seed 1 --number 4711``.
"""

import argparse
import json
import logging
import os
import sys
import tempfile
import time
from pathlib import Path

SECONDS_EACH = 60.0


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--inputs", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=0, help="stop after so long; 0: no limit")
    parser.add_argument("--only", default="", help="importers whose name holds this")
    parser.add_argument("--json", type=Path, help="keep the figures in this file")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="bench-fuzz-") as folder:
        os.environ["TIDETALLY_TEST_DATA"] = folder
        os.environ.pop("DATABASE_URL", None)
        told = run(options.inputs, options.seed, minutes=options.minutes, only=options.only, report=True)
    if options.json:
        options.json.write_text(json.dumps(told, indent=1), encoding="utf-8")
    return 1 if told["findings"] else 0


def run(
    inputs: int, seed: int, *, minutes: float = 0, only: str = "", report: bool = False
) -> dict[str, object]:
    """Builds a house of its own and hands it ``inputs`` files; the figures as JSON holds them."""
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    import django

    django.setup()
    import time_machine
    from django.conf import settings
    from django.core.management import call_command

    from tests import factories
    from tests.attack.fuzz.importers import build
    from tests.attack.fuzz.running import fuzz

    # Each refusal of the interface would be a line.
    logging.getLogger("django.request").setLevel(logging.CRITICAL)
    settings.ALLOWED_HOSTS = [*settings.ALLOWED_HOSTS, "testserver"]
    call_command("migrate", verbosity=0)
    began = time.monotonic()

    def tell(done: int) -> None:
        if report and done % 500 == 0:
            print(f"{done} of {inputs}, {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)

    with time_machine.travel(factories.NOW, tick=False):
        tallies = fuzz(
            build(),
            inputs=inputs,
            seed=seed,
            seconds_each=SECONDS_EACH,
            seconds=minutes * 60,
            only=only,
            tell=tell,
        )
    findings = [
        {"importer": one.importer, "number": one.number, "what": one.what}
        for tally in tallies
        for one in tally.findings
    ]
    if report:
        head = ("importer", "inputs", "taken", "refused", "findings", "peak MiB", "slowest s")
        print("{:<24} {:>7} {:>7} {:>8} {:>9} {:>9} {:>10}".format(*head))
        for one in tallies:
            print(
                f"{one.importer:<24} {one.inputs:>7,} {one.taken:>7,} {one.refused:>8,} "
                f"{len(one.findings):>9} {one.peak >> 20:>9,} {one.slowest:>10.1f}"
            )
        for found in findings[:40]:
            print(f"\n#{found['number']} {found['importer']} (seed {seed}): {found['what']}")
    return {
        "inputs": sum(tally.inputs for tally in tallies),
        "seed": seed,
        "taken": sum(tally.taken for tally in tallies),
        "refused": sum(tally.refused for tally in tallies),
        "importers": len(tallies),
        "peak": max((tally.peak for tally in tallies), default=0),
        "findings": findings,
    }


if __name__ == "__main__":
    sys.exit(main())
