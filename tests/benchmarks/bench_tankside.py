"""How long the server takes for one entry with eight devices sending at once; none lost, none doubled.

    python -m tests.benchmarks.bench_tankside [--devices N] [--entries N] [--bare N]
    .ci/postgresql python -m tests.benchmarks.bench_tankside

A house in a scratch folder (or in ``DATABASE_URL``), served over HTTP by ``manage.py serve``. Each device
sends its entries one by one, and every tenth a second time as if the answer had been lost: first one entry
a second, as eight people with wet hands could hardly do; then each second all in the same moment, so that
the last waits for the seven others; then as fast as the answers come, where each always does. The devices
run on the server's machine and take a part of it, which is told. Beside it, in the same run: bare inserts of
one row, a transaction each, from as many threads. Afterwards the ledger is held against what was sent, and
verified.
"""

import argparse
import http.client
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

PROJECT = Path(__file__).resolve().parents[2]
HOST = "127.0.0.1"
LOTS = 40
PLACES = 12
SENT_TWICE = 10
WARMING = 40


@dataclass
class Sender:
    """One device with its person, and what it has sent: identifier to kind and number."""

    token: str
    person: int
    signed: str
    seed: int
    took: list[float] = field(default_factory=list)
    sent: dict[str, tuple[str, int, int]] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Benchmark of entries from the tank side.")
    parser.add_argument("--devices", type=int, default=8)
    parser.add_argument("--entries", type=int, default=250, help="of each device")
    parser.add_argument("--paced", type=int, default=15, help="of each device, one a second, before that")
    parser.add_argument("--bare", type=int, default=250, help="bare inserts of each thread")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1, help="of the server")
    options = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="tidetally-bench-") as folder:
        os.environ["TIDETALLY_DATA"] = folder
        os.environ["DJANGO_SETTINGS_MODULE"] = "inventory.site.settings"
        import django

        django.setup()
        from django.core.management import call_command
        from django.db import connection

        call_command("migrate", verbosity=0)
        senders = _house(options.devices)
        print(
            f"{connection.vendor}, {options.devices} devices, {options.entries} entries each,"
            f" {options.processes} processes"
        )
        with _server(options.devices, options.processes) as port:
            # Untimed: each thread of a server that has just begun opens its connection and reads its code.
            _at_once([partial(_send_all, one, port, WARMING, 0.0) for one in senders])
            _measure("an entry a second from each", senders, port, options.paced, every=1.0)
            _measure("all in the same moment", senders, port, options.paced, every=-1.0)
            _measure("flat out", senders, port, options.entries, every=0.0)
        _print("bare insert of one row", _bare(options.devices, options.bare))
        return _check(senders)


def _measure(what: str, senders: Sequence[Sender], port: int, entries: int, *, every: float) -> None:
    """Lets every device send so many entries, ``every`` so many seconds, and prints what each took.

    Below zero: every so many seconds, and all devices at the same moment.
    """
    for sender in senders:
        sender.took.clear()
    started, computed = time.perf_counter(), time.process_time()
    _at_once([partial(_send_all, one, port, entries, every) for one in senders])
    seconds = time.perf_counter() - started
    ours = time.process_time() - computed
    took = [one for sender in senders for one in sender.took]
    _print(what, took)
    share = ours / seconds / (os.cpu_count() or 1)
    print(
        f"{'':<28} {len(took) / seconds:,.0f} entries a second; the devices took {share:.0%} of the machine"
    )


def _house(devices: int) -> list[Sender]:
    """A house with tanks and lots, and as many enrolled devices as asked, each with its person."""
    from django.contrib.auth import get_user_model
    from django.contrib.auth.models import Group
    from django.utils import timezone

    from inventory.book.actions.post import post_events
    from inventory.book.actions.register import register_lots, register_places
    from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers
    from inventory.book.rules.happened import parse_happened
    from inventory.book.rules.kinds import EventKind
    from inventory.book.rules.sheets import LotRow, PlaceRow
    from inventory.names.models import Taxon
    from inventory.people.actions.codes import check_code, set_code
    from inventory.people.actions.devices import enrol, make_device, offer_code
    from inventory.people.models import DeviceScope, House, Person

    now, zone = datetime.now(UTC), timezone.get_current_timezone()
    registrar = Person.objects.create(name="Bench Registrar")
    House.objects.create(name="Bench Aquarium", registrar=registrar)
    register_places(
        [PlaceRow(code=f"T{n}", name=f"Tank {n}", kind="tank", parent=None) for n in range(PLACES)]
    )
    names = [f"Exemplum numero{n}" for n in range(LOTS)]
    taxa = {name: Taxon.objects.create(scientific_name=name, count_class="C") for name in names}
    register_lots([LotRow(accession=f"L{n}", name=name, kind="group") for n, name in enumerate(names)], taxa)
    post_events(
        [
            EventDraft(
                identifier=uuid4(),
                kind=EventKind.OPENING,
                happened=parse_happened("2026-01-01"),
                entered_by=registrar.name,
                lines=[DraftLine(lot=f"L{n}", place=f"T{n % PLACES}", numbers=Numbers(unknown=100_000))],
            )
            for n in range(LOTS)
        ],
        now=now,
        zone=zone,
    )
    senders = []
    for n in range(devices):
        user = get_user_model().objects.create_user(f"keeper{n}")
        user.groups.add(Group.objects.get(name="aquarist"))
        person = Person.objects.create(name=f"Keeper {n}", user=user)
        set_code(person, "4071", by=person, now=now)
        device = make_device(name=f"Device {n}", scope=DeviceScope.TANKSIDE, by=registrar, now=now)
        enrolled = enrol(code=offer_code(device, by=registrar, now=now), now=now)
        signed = check_code(person=person, code="4071", device=device, now=now).signed
        senders.append(Sender(enrolled.token, person.pk, signed, seed=n))
    return senders


def _entry(sender: Sender, draw: random.Random) -> dict[str, Any]:
    """A death, a move, young or a note, as they come in a house: three in five are deaths."""
    lot = draw.randrange(LOTS)
    kind = draw.choice(("died", "died", "died", "moved", "born"))
    n = draw.randrange(1, 4)
    entry = {
        "identifier": str(UUID(int=draw.getrandbits(128), version=4)),
        "kind": kind,
        "person": sender.person,
        "pass": sender.signed,
        "saved_at": datetime.now(UTC).isoformat(),
        "place": f"T{lot % PLACES}",
        "lot": f"L{lot}",
        "numbers": {"unknown": n},
    }
    if kind == "moved":
        entry["to_place"] = f"T{(lot + 1) % PLACES}"
    sender.sent[str(entry["identifier"])] = (kind, lot, n)
    return entry


def _send_all(sender: Sender, port: int, entries: int, every: float) -> None:
    draw = random.Random(f"{sender.seed} {every} {entries}")
    connection = http.client.HTTPConnection(HOST, port, timeout=60)
    begun = time.perf_counter() + (draw.random() * every if every > 0 else 0.0)
    for number in range(entries):
        time.sleep(max(0.0, begun + number * abs(every) - time.perf_counter()))
        entry = _entry(sender, draw)
        started = time.perf_counter()
        answer = _post(connection, sender, entry)
        sender.took.append(time.perf_counter() - started)
        if answer["outcome"] != "sent" or answer["already"]:
            sender.wrong.append(f"first answer: {answer}")
        if number % SENT_TWICE == 0:
            again = _post(connection, sender, entry)
            if again != {**answer, "already": True}:
                sender.wrong.append(f"another answer to the same entry: {again}")
    connection.close()


def _post(connection: http.client.HTTPConnection, sender: Sender, entry: dict[str, Any]) -> dict[str, Any]:
    body = json.dumps({"sent_at": datetime.now(UTC).isoformat(), "entries": [entry]})
    headers = {"Authorization": f"Bearer {sender.token}", "Content-Type": "application/json"}
    connection.request("POST", "/api/v1/entries", body, headers)
    response = connection.getresponse()
    text = response.read()
    if response.status != 200:
        raise SystemExit(f"{response.status}: {text[:500]!r}")
    answer: dict[str, Any] = json.loads(text)["answers"][0]
    return answer


def _bare(threads: int, rows: int) -> list[float]:
    """The floor: one row, one transaction, from as many threads; what the disk and the database take."""
    from django.db import connection, transaction

    with connection.cursor() as cursor:
        cursor.execute("CREATE TABLE bench_bare (id varchar(40) PRIMARY KEY, n integer NOT NULL)")

    def insert() -> list[float]:
        took = []
        for _ in range(rows):
            started = time.perf_counter()
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute("INSERT INTO bench_bare (id, n) VALUES (%s, %s)", [str(uuid4()), 1])
            took.append(time.perf_counter() - started)
        connection.close()
        return took

    return [one for of_thread in _at_once([insert] * threads) for one in of_thread]


def _at_once(work: Sequence[Callable[[], Any]]) -> list[Any]:
    with ThreadPoolExecutor(len(work)) as pool:
        return [one.result() for one in [pool.submit(each) for each in work]]


def _check(senders: Sequence[Sender]) -> int:
    """Holds the ledger against what was sent: every entry one event, every number right, all verified."""
    from django.db.models import Sum
    from django.utils import timezone

    from inventory.book.models import Cell, Event
    from inventory.book.queries.verification import verify

    wrong = [one for sender in senders for one in sender.wrong]
    sent = {identifier: said for sender in senders for identifier, said in sender.sent.items()}
    events = list(Event.objects.exclude(kind="opening").values_list("identifier", flat=True))
    if len(events) != len(set(events)) or {str(one) for one in events} != set(sent):
        wrong.append(f"{len(sent)} entries were sent, {len(events)} events are in the book")
    held = dict(Cell.objects.filter(inside=True).values_list("lot__accession").annotate(held=Sum("balance")))
    expected = dict.fromkeys(range(LOTS), 100_000)
    for kind, lot, n in sent.values():
        expected[lot] += {"died": -n, "born": n, "moved": 0}[kind]
    wrong += [
        f"L{lot}: {held[f'L{lot}']} in the book, {n} were sent"
        for lot, n in expected.items()
        if held[f"L{lot}"] != n
    ]
    wrong += [str(finding) for finding in verify(timezone.get_current_timezone()).findings]
    print(f"{len(sent):,} entries, {len(events):,} events; wrong: {wrong or 'nothing'}")
    return 1 if wrong else 0


def _print(what: str, took: Sequence[float]) -> None:
    ordered = sorted(took)
    p50, p95, p99 = (ordered[min(len(ordered) - 1, int(len(ordered) * share))] for share in (0.5, 0.95, 0.99))
    print(f"{what:<28} p50 {1e3 * p50:>7.1f} ms  p95 {1e3 * p95:>7.1f} ms  p99 {1e3 * p99:>7.1f} ms")


@contextmanager
def _server(threads: int, processes: int) -> Iterator[int]:
    """The house's own server on a free port, until it answers and then until the end."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port = int(probe.getsockname()[1])
    options = [f"--port={port}", f"--threads={threads}", f"--processes={processes}"]
    process = subprocess.Popen([sys.executable, "manage.py", "serve", *options], cwd=PROJECT)
    try:
        until = datetime.now(UTC) + timedelta(seconds=60)
        while datetime.now(UTC) < until:
            try:
                socket.create_connection((HOST, port), timeout=1).close()
                break
            except OSError:
                time.sleep(0.1)
        yield port
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(30)


if __name__ == "__main__":
    sys.exit(main())
