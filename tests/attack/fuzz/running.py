"""Hands spoilt files to the house, and looks at what came of each."""

import random
import signal
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.apps import apps
from django.db import connection, transaction

from inventory.names.store import where as stores

from .importers import FuzzHouse, Importer, Refused, backbone_files, importers

MOST_MEMORY = 512 << 20
# Written on purpose when something is refused: what was refused, and how often somebody knocked.
KEPT_ON_PURPOSE = {"book_refusedentry", "book_refusedabout", "people_asked"}
# What somebody is told must say more than that something is wrong.
SHORTEST_REFUSAL = 15
_NO_WORDS = ("Traceback (most", "object has no attribute", "NoneType", "list index out of range", "KeyError")


class TooSlow(BaseException):
    """A file took longer than any may; no reader's own handling of errors must swallow it."""


@dataclass(slots=True)
class Finding:
    """One file that was not dealt with as it must be; ``number`` and the seed make it again."""

    importer: str
    number: int
    what: str


@dataclass(slots=True)
class Tally:
    """What came of the files of one importer. ``peak`` in bytes, 0 where the system does not tell it."""

    importer: str
    inputs: int = 0
    taken: int = 0
    refused: int = 0
    peak: int = 0
    slowest: float = 0.0
    findings: list[Finding] = field(default_factory=list)


def fuzz(
    house: FuzzHouse,
    *,
    inputs: int,
    seed: int,
    seconds_each: float = 0,
    seconds: float = 0,
    only: str = "",
    tell: Callable[[int], None] = lambda done: None,
) -> list[Tally]:
    """``inputs`` files, spread over all importers; the same seed makes the same files.

    ``seconds_each``: a file that takes longer is a finding; ``seconds``: then no further file is made; 0 for
    no limit.
    """
    began = time.monotonic()
    doors = [one for one in importers(house) if only in one.name]
    tallies = {door.name: Tally(door.name) for door in doors}
    tables = _tables()
    for number in range(inputs):
        door = doors[number % len(doors)]
        one_file(door, number, random.Random(f"{seed} {number}"), tallies[door.name], tables, seconds_each)
        tell(number + 1)
        if seconds and time.monotonic() - began > seconds:
            break
    return list(tallies.values())


def one_file(
    door: Importer, number: int, draw: random.Random, tally: Tally, tables: Sequence[str], seconds: float
) -> None:
    """Makes one file, hands it over, looks, and takes back what it did."""
    tally.inputs += 1

    def found(what: str) -> None:
        tally.findings.append(Finding(door.name, number, what))

    with TemporaryDirectory(prefix="fuzz-") as folder, transaction.atomic():
        path = door.make(draw, Path(folder))
        before, files = _counts(tables), backbone_files()
        _forget_peak()
        began = time.perf_counter()
        try:
            with _at_most(seconds):
                door.feed(path)
        except Refused as refused:
            tally.refused += 1
            _look(door, str(refused), before, files, tables, found)
        except TooSlow:
            found(f"longer than {seconds} s")
        except Exception:
            # Whatever it is, somebody would have been shown a stack trace.
            found(traceback.format_exc(limit=-6))
        else:
            tally.taken += 1
        tally.slowest = max(tally.slowest, time.perf_counter() - began)
        peak = _peak()
        tally.peak = max(tally.peak, peak)
        if peak > MOST_MEMORY:
            found(f"{peak >> 20} MiB of memory")
        transaction.set_rollback(True)
        for left in backbone_files() - files:
            (stores._folder() / left).unlink()


def _look(
    door: Importer,
    said: str,
    before: dict[str, int],
    files: set[str],
    tables: Sequence[str],
    found: Callable[[str], None],
) -> None:
    """After a refusal everything is as it was, and somebody was told why."""
    after = _counts(tables)
    kept = door.keeps | KEPT_ON_PURPOSE
    changed = [table for table in tables if after[table] != before[table] and table not in kept]
    if changed:
        found(f"half loaded: rows in {', '.join(changed)}")
    if backbone_files() != files:
        found(f"half loaded: the files {', '.join(backbone_files() ^ files)}")
    if len(said.strip()) < SHORTEST_REFUSAL or any(sign in said for sign in _NO_WORDS):
        found(f"no words: {said[:300]!r}")


def _tables() -> list[str]:
    return sorted({model._meta.db_table for model in apps.get_models(include_auto_created=True)})


def _counts(tables: Sequence[str]) -> dict[str, int]:
    query = " UNION ALL ".join(f"SELECT '{table}', count(*) FROM {table}" for table in tables)
    with connection.cursor() as cursor:
        cursor.execute(query)
        return dict(cursor.fetchall())


@contextmanager
def _at_most(seconds: float) -> Iterator[None]:
    """Ends what takes longer, by SIGALRM, in the main thread only."""
    if not seconds:
        yield
        return

    def ring(*_: Any) -> None:
        raise TooSlow

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def _forget_peak() -> None:
    """From here the peak is counted anew (Linux: proc(5), clear_refs)."""
    try:
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    except OSError:
        return


def _peak() -> int:
    """The most memory that was resident since, in bytes; 0 where there is no /proc."""
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return 0
    line = next((line for line in status.splitlines() if line.startswith("VmHWM:")), "VmHWM: 0 kB")
    return int(line.split()[1]) << 10


__all__ = ["MOST_MEMORY", "Finding", "Tally", "fuzz"]
