"""Kills the server with SIGKILL at random moments under load, starts it again, and counts what survived.

    python -m tests.benchmarks.bench_crash --rounds 300 --database sqlite --seed 1
    python -m tests.benchmarks.bench_crash --rounds 300 --database postgresql --seed 1

A small house in a scratch folder; devices send deaths, births and moves through the interface to `serve`
with several processes, and send again what was not answered, now and then also what was. At a random
moment the whole group of processes is killed. On PostgreSQL, in a cluster of its own, in some rounds one of
the database's processes or all of them die too, and the service must go on by itself. After every round the
ledger is verified, and each acknowledged entry must be in it exactly once, under the event's number that
the device was told; no other entry but the unanswered may be there.

Starting Django takes longer than a round, so the server is forked from this process, which has it loaded
already, and runs the command `serve` from there; every tenth round starts `manage.py serve` as a house does.
"""

import argparse
import ctypes
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path

from ..cluster import Cluster, cluster
from ..load_of_entries import Device, free_port, held_against_the_book, small_house

PROJECT = Path(__file__).resolve().parents[2]
# Seconds of load before the end, at most; the moment is drawn evenly.
WINDOW = 0.5
_PATIENCE = 60.0
_BECOMES_PARENT_OF_ORPHANS = 36  # PR_SET_CHILD_SUBREAPER, linux/prctl.h


@dataclass
class Tally:
    """What happened in all rounds."""

    rounds: int = 0
    kills: Counter[str] = field(default_factory=Counter)
    took: list[float] = field(default_factory=list)
    unanswered: int = 0
    in_the_book_unanswered: int = 0
    wrong: list[str] = field(default_factory=list)


class Server:
    """`serve` in a group of processes of its own."""

    def __init__(self, port: int, processes: int, log: Path) -> None:
        self.port, self.processes, self.log, self.leader = port, processes, log, 0

    def start(self, *, forked: bool) -> None:
        from django.db import connections

        connections.close_all()
        self.leader = self._fork() if forked else self._command()

    def _command(self) -> int:
        words = [f"--port={self.port}", f"--processes={self.processes}", "--threads=8"]
        with self.log.open("ab") as log:
            started = subprocess.Popen([sys.executable, "manage.py", "serve", *words], cwd=PROJECT,
                                       stdout=log, stderr=log, start_new_session=True)  # fmt: skip
        return started.pid

    def _fork(self) -> int:
        child = os.fork()
        if child:
            with suppress(OSError):  # whoever of the two comes first
                os.setpgid(child, child)
            return child
        try:
            with suppress(OSError):
                os.setpgid(0, 0)
            with self.log.open("ab") as log:
                os.dup2(log.fileno(), 1)
                os.dup2(log.fileno(), 2)
            from django.core.management import call_command

            call_command("serve", port=self.port, processes=self.processes, threads=8)
        finally:
            os._exit(1)

    def leave_nobody(self) -> None:
        """Whatever went wrong before: no server outlives this program."""
        if self.leader:
            with suppress(ProcessLookupError):
                os.killpg(self.leader, signal.SIGKILL)

    def end(self, number: int) -> None:
        """Sends the signal to the whole group and waits until nobody of it is left."""
        with suppress(ProcessLookupError):
            os.killpg(self.leader, number)
        until = time.monotonic() + _PATIENCE
        with suppress(ChildProcessError):
            while True:
                if os.waitpid(-self.leader, os.WNOHANG) == (0, 0):
                    assert time.monotonic() < until, "the server does not end"
                    time.sleep(0.002)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Kills the server at random moments under load.")
    parser.add_argument("--rounds", type=int, default=300)
    parser.add_argument("--database", choices=("sqlite", "postgresql"), default="sqlite")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--devices", type=int, default=4)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument(
        "--template", type=Path, help="a migrated empty database: a file, or a pg_dump of one"
    )
    options = parser.parse_args(arguments)
    ctypes.CDLL(None).prctl(_BECOMES_PARENT_OF_ORPHANS, 1, 0, 0, 0)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="tidetally-crash-")))
        os.environ["TIDETALLY_DATA"] = str(folder)
        os.environ["DJANGO_SETTINGS_MODULE"] = "inventory.site.settings"
        for name in ("DATABASE_URL", "DATABASE_REPLICA_URL", "TIDETALLY_SQLITE", "TIDETALLY_NOW"):
            os.environ.pop(name, None)
        database = None
        if options.database == "postgresql":
            database = stack.enter_context(cluster())
            os.environ["DATABASE_URL"] = database.url()
        _prepare(options.template, folder, database)
        devices = small_house(options.devices, seed=options.seed)
        server = Server(free_port(), options.processes, folder / "server.log")
        stack.callback(server.leave_nobody)
        tally = _rounds(options.rounds, devices, server, database, random.Random(options.seed))
        _print(options, devices, tally)
        if tally.wrong and server.log.exists():
            sys.stderr.write(server.log.read_text()[-4_000:])
    return 1 if tally.wrong else 0


def _prepare(template: Path | None, folder: Path, database: Cluster | None) -> None:
    if template and database:
        told = ["--no-owner", f"--host={database.home}", "--username=tidetally", "--dbname=postgres"]
        subprocess.run([database.programs / "pg_restore", *told, template], check=True)
    elif template:
        (folder / "tidetally.sqlite3").write_bytes(template.read_bytes())
    import django

    django.setup()
    from django.core.management import call_command
    from django.test import Client

    call_command("migrate", verbosity=0)
    Client().get("/health", HTTP_HOST="localhost")  # loads every address before the first fork


def _rounds(
    rounds: int, devices: Sequence[Device], server: Server, database: Cluster | None, draw: random.Random
) -> Tally:
    tally = Tally()
    for number in range(rounds):
        started = time.perf_counter()
        _round(number, devices, server, database, draw, tally)
        tally.took.append(time.perf_counter() - started)
        tally.rounds += 1
        if tally.wrong:
            tally.wrong.insert(0, f"after round {number + 1}:")
            return tally
        if rounds >= 50 and (number + 1) % 25 == 0:
            print(f"{number + 1} rounds", file=sys.stderr, flush=True)
    # The last start: everything that waits is sent and answered.
    server.start(forked=True)
    _under_load(devices, server.port, lambda stop: None, most=1)
    server.end(signal.SIGTERM)
    tally.wrong += held_against_the_book(devices)
    tally.wrong += [f"{d.waiting['identifier']} was never answered" for d in devices if d.waiting]
    return tally


def _round(
    number: int, devices: Sequence[Device], server: Server, database: Cluster | None, draw: random.Random,
    tally: Tally,
) -> None:  # fmt: skip
    from django.db import connections

    server.start(forked=number % 10 != 9)
    mode = _mode(number, database)
    tally.kills[mode] += 1

    def disturb(stop: threading.Event) -> None:
        if number % 6 != 5:  # else perhaps while it starts
            _wait_for_an_answer(devices)
        time.sleep(draw.uniform(0, WINDOW))
        if database and mode in ("a process of the database", "the database, then the server"):
            database.kill_a_backend() if mode.startswith("a") else _restart(database)
            _wait_for_an_answer(devices)  # the service goes on by itself
            time.sleep(draw.uniform(0, WINDOW))
        if database and mode == "server and database at once":
            database.kill()
        server.end(signal.SIGKILL)
        if database and mode == "server and database at once":
            database.start()
        stop.set()

    _under_load(devices, server.port, disturb)
    connections.close_all()
    if database:
        _wait_until_alone()
    waiting = [device.waiting["identifier"] for device in devices if device.waiting]
    tally.unanswered += len(waiting)
    tally.in_the_book_unanswered += _in_the_book(waiting)
    tally.wrong += held_against_the_book(devices)


def _mode(number: int, database: Cluster | None) -> str:
    if database is None:
        return "server"
    return {
        1: "a process of the database",
        3: "the database, then the server",
        4: "server and database at once",
    }.get(number % 5, "server")


def _restart(database: Cluster) -> None:
    database.kill()
    database.start()


def _under_load(
    devices: Sequence[Device], port: int, disturb: Callable[[threading.Event], None], *, most: int = 1_000_000
) -> None:
    """All devices send, until ``disturb`` says stop or each has ``most`` answers."""
    stop = threading.Event()
    threads = [threading.Thread(target=d.send, args=(port, stop), kwargs={"most": most}) for d in devices]
    for thread in threads:
        thread.start()
    try:
        disturb(stop)
    except BaseException:
        stop.set()
        raise
    for thread in threads:
        thread.join(_PATIENCE)
    stop.set()


def _wait_for_an_answer(devices: Sequence[Device]) -> None:
    before = sum(len(device.acknowledged) for device in devices)
    until = time.monotonic() + _PATIENCE
    while sum(len(device.acknowledged) for device in devices) == before:
        if time.monotonic() > until:
            raise SystemExit("no entry was answered for a minute: the service did not go on by itself")
        time.sleep(0.005)


def _wait_until_alone() -> None:
    """A process of PostgreSQL may outlive the client that was killed, and commit still.

    And PostgreSQL itself may only now begin anew: the answer that was waited for may have come from a
    process that had not noticed yet that another was killed.
    """
    from django.db import OperationalError, connection

    asked = "SELECT count(*) FROM pg_stat_activity WHERE backend_type = 'client backend'"
    until = time.monotonic() + _PATIENCE
    while time.monotonic() < until:
        try:
            with connection.cursor() as cursor:
                cursor.execute(f"{asked} AND pid <> pg_backend_pid()")
                if cursor.fetchone() == (0,):
                    return
        except OperationalError:
            connection.close()
        time.sleep(0.01)
    raise SystemExit("processes of the database outlive their clients")


def _in_the_book(identifiers: Sequence[str]) -> int:
    from inventory.book.models import Event

    return Event.objects.filter(identifier__in=identifiers).count()


def _print(options: argparse.Namespace, devices: Sequence[Device], tally: Tally) -> None:
    refused: Counter[int] = Counter()
    for device in devices:
        refused.update(device.refused)
    took = sorted(tally.took)
    rows: list[tuple[str, object]] = [
        ("database", options.database),
        ("seed", options.seed),
        ("rounds survived", f"{tally.rounds - bool(tally.wrong)} of {options.rounds}"),
        *((f"killed: {mode}", n) for mode, n in sorted(tally.kills.items())),
        ("entries acknowledged", sum(len(device.acknowledged) for device in devices)),
        ("of these in the book once", "all" if not tally.wrong else "see below"),
        ("unanswered when it was killed", tally.unanswered),
        ("of these in the book already", tally.in_the_book_unanswered),
        ("sent once more", sum(device.again for device in devices)),
        *((f"answered with {status}", n) for status, n in sorted(refused.items())),
        ("seconds a round, median and most", f"{took[len(took) // 2]:.2f}, {took[-1]:.2f}"),
    ]
    for what, value in rows:
        print(f"{what:<45} {value}")
    print(f"wrong: {' | '.join(tally.wrong[:10]) or 'nothing'}")


if __name__ == "__main__":
    sys.exit(main())
