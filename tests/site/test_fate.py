"""What fate does to a machine: told in words, nothing lost, and the service goes on by itself.

Real servers in processes of their own, on the kind of database that the tests run on.
"""

import http.client
import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import quote
from uuid import uuid4

import pytest
import time_machine
from django.conf import settings
from django.db import connection, connections, transaction
from django.test import Client

from inventory.book.models import Event
from inventory.db.locks import serialize_writers
from inventory.doors.troubles import TROUBLES, Kind

from ..load_of_entries import HOST, Device, free_port, held_against_the_book, post, small_house
from ..threads import at_once

Start = Callable[..., int]
ONLY_SQLITE = "what can befall a file of SQLite"
_PATIENCE = 60.0


def _url(name: str) -> str:
    told = connection.settings_dict
    where = quote(told["HOST"], safe="") + (f":{told['PORT']}" if told["PORT"] else "")
    return f"postgres://{told['USER']}@{where}/{name}"


def _environment(**more: str) -> dict[str, str]:
    """A house on the tests' own database, with the key that signed the passes."""
    told = {name: value for name, value in os.environ.items() if not name.startswith("DJANGO_SETTINGS")}
    if connection.vendor == "sqlite":
        told["TIDETALLY_SQLITE"] = str(connection.settings_dict["NAME"])
    else:
        told["DATABASE_URL"] = _url(str(connection.settings_dict["NAME"]))
    return {**told, **more}


@pytest.fixture
def start() -> Iterator[Start]:
    """Starts `serve` and answers its port, once it is ready; ``before`` are words before the command."""
    running: list[subprocess.Popen[bytes]] = []

    def starts(*before: str, **more: str) -> int:
        port = free_port()
        words = ["manage.py", "serve", f"--port={port}", "--processes=1", "--threads=4"]
        process = subprocess.Popen(
            [*before, sys.executable, *words], cwd=settings.PROJECT, env=_environment(**more),
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        running.append(process)
        starts.process = process  # type: ignore[attr-defined]
        until = time.monotonic() + _PATIENCE
        while not _answers(port):
            assert process.poll() is None, "the server did not start"
            assert time.monotonic() < until, "the server does not answer"
            time.sleep(0.05)
        return port

    yield starts
    for process in running:
        process.kill()
        process.wait(_PATIENCE)


def _answers(port: int) -> bool:
    try:
        return _get(port, "/tank/sw.js")[0] == 200
    except OSError:
        return False


def _get(port: int, address: str) -> tuple[int, str]:
    asking = http.client.HTTPConnection(HOST, port, timeout=_PATIENCE)
    try:
        asking.request("GET", address)
        answer = asking.getresponse()
        return answer.status, answer.read().decode()
    finally:
        asking.close()


def _send(port: int, device: Device, entry: dict[str, Any]) -> tuple[int, Any]:
    """The status and what came with it: one answer, or the words of a refusal."""
    asking = http.client.HTTPConnection(HOST, port, timeout=_PATIENCE)
    try:
        answer = post(asking, device.token, entry, refusals=True)
    finally:
        asking.close()
    return (200, answer) if "status" not in answer else (answer["status"], answer)


def _is_refused(port: int, device: Device, entry: dict[str, Any], *kinds: Kind) -> None:
    """Refused in words, so that the device keeps it."""
    status, said = _send(port, device, entry)
    assert (status, said["reason"] in kinds) == (503, True), said
    assert said["detail"] == TROUBLES[Kind(said["reason"])].words


def _is_taken(port: int, device: Device, entry: dict[str, Any]) -> None:
    status, answer = _send(port, device, entry)
    assert status == 200, answer
    assert answer["outcome"] == "sent"
    again = _send(port, device, entry)
    assert again == (200, {**answer, "already": True})
    device.acknowledged[entry["identifier"]] = answer["event"]


@pytest.fixture
def device(transactional_db: None) -> Device:
    return small_house(1, seed=3)[0]


@pytest.fixture
def apart(device: Device, tmp_path: Path) -> Path:
    """The house in a file and a folder of its own, which may be spoilt."""
    if connection.vendor != "sqlite":
        pytest.skip(ONLY_SQLITE)
    return _copy(tmp_path / "house")


def _copy(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    file = folder / "house.sqlite3"
    here, there = sqlite3.connect(connection.settings_dict["NAME"]), sqlite3.connect(file)
    here.backup(there)
    here.close()
    there.execute("PRAGMA journal_mode=WAL")
    there.close()
    return file


def _times_in(file: Path, entry: dict[str, Any]) -> int:
    there = sqlite3.connect(file)
    try:
        asked = "SELECT count(*) FROM book_event WHERE identifier = ?"
        return int(there.execute(asked, [entry["identifier"].replace("-", "")]).fetchone()[0])
    finally:
        there.close()


@pytest.mark.slow
def test_a_file_that_may_not_grow_is_told_and_the_service_goes_on(
    apart: Path, device: Device, start: Start
) -> None:
    """A quota, or the largest file that a system allows (setrlimit, RLIMIT_FSIZE)."""
    port = start(TIDETALLY_SQLITE=str(apart))
    first, second = device.entry(), device.entry()
    _is_taken(port, device, first)
    server: int = start.process.pid  # type: ignore[attr-defined]
    before = resource.prlimit(server, resource.RLIMIT_FSIZE)
    resource.prlimit(server, resource.RLIMIT_FSIZE, (4_096, before[1]))
    _is_refused(port, device, second, Kind.DISK, Kind.FULL)
    assert _get(port, "/tank/sw.js")[0] == 200
    assert _times_in(apart, second) == 0
    resource.prlimit(server, resource.RLIMIT_FSIZE, before)
    _is_taken(port, device, second)
    assert (_times_in(apart, first), _times_in(apart, second)) == (1, 1)


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of few MiB in memory, where this user may mount one."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", str(folder)]
    if subprocess.run(mount, capture_output=True, check=False, timeout=_PATIENCE).returncode:
        pytest.skip("no right to mount a small disk here; the limit on a file's size is tested all the same")
    yield folder
    subprocess.run(["umount", "--lazy", str(folder)], check=True, timeout=_PATIENCE)


def _fill(file: Path) -> None:
    """Writes until there is no room left, on a disk of 24 MiB at most."""
    with file.open("wb", buffering=0) as other, suppress(OSError):
        for _ in range(24 << 8):
            other.write(bytes(4_096))
    assert shutil.disk_usage(file.parent).free == 0


@pytest.mark.slow
def test_a_full_disk_is_told_and_the_service_goes_on(device: Device, small_disk: Path, start: Start) -> None:
    if connection.vendor != "sqlite":
        pytest.skip(ONLY_SQLITE)
    file = _copy(small_disk)
    port = start(TIDETALLY_SQLITE=str(file))
    first, second = device.entry(), device.entry()
    _is_taken(port, device, first)
    _fill(small_disk / "something else")
    for _ in range(200):  # what the log of the database has room for already is still taken
        refused = device.entry()
        status, said = _send(port, device, refused)
        if status != 200:
            break
    assert (status, said["reason"]) == (503, Kind.FULL)
    _is_refused(port, device, second, Kind.FULL)
    assert _times_in(file, refused) == _times_in(file, second) == 0
    (small_disk / "something else").unlink()
    _is_taken(port, device, second)
    assert (_times_in(file, first), _times_in(file, second)) == (1, 1)


@pytest.mark.slow
def test_a_database_that_can_only_be_read_is_told_and_the_service_goes_on(
    apart: Path, device: Device, start: Start
) -> None:
    """As root the right to write everything has to be given away first, or nothing would be refused."""
    before: tuple[str, ...] = ()
    if os.geteuid() == 0:
        if not shutil.which("setpriv"):
            pytest.skip("as root, and no setpriv here")
        before = ("setpriv", "--bounding-set=-dac_override", "--inh-caps=-dac_override", "--")
    port = start(*before, TIDETALLY_SQLITE=str(apart))
    entry = device.entry()
    # Before the server's threads have opened it: what is open already would still be written.
    apart.chmod(0o444)
    apart.parent.chmod(0o555)
    try:
        _is_refused(port, device, entry, Kind.READ_ONLY, Kind.AWAY)
        status, said = _get(port, "/ready")
        assert (status, "database's file" in said) == (503, True)
    finally:
        apart.parent.chmod(0o755)
        apart.chmod(0o644)
    _is_taken(port, device, entry)
    assert _get(port, "/ready")[1] == "ready\n"
    assert _times_in(apart, entry) == 1


@pytest.mark.slow
def test_postgresql_that_takes_no_writes_is_told_and_the_service_goes_on(
    device: Device, start: Start
) -> None:
    """As on a standby that was not made the first yet."""
    if connection.vendor != "postgresql":
        pytest.skip("PostgreSQL only")
    port = start()
    entry = device.entry()
    _only_read("on")
    try:
        _is_refused_at_last(port, device, entry, Kind.READ_ONLY)
        assert _get(port, "/ready") == (503, "the database takes no writes\n")
    finally:
        _only_read("off")
    until = time.monotonic() + _PATIENCE
    while _send(port, device, entry)[0] != 200:
        assert time.monotonic() < until, "the service did not go on"
        time.sleep(0.05)
    _is_taken_already(port, device, entry)
    assert held_against_the_book([device]) == []


def _only_read(value: str) -> None:
    """For all who connect from now on; who is connected has to come again."""
    name = connection.ops.quote_name(str(connection.settings_dict["NAME"]))
    with connection.cursor() as cursor:
        cursor.execute("SET default_transaction_read_only = off")
        cursor.execute(f"ALTER DATABASE {name} SET default_transaction_read_only = {value}")
        cursor.execute(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        )


def _is_refused_at_last(port: int, device: Device, entry: dict[str, Any], kind: Kind) -> None:
    """The first answer may tell that the connection was cut; none may take the entry."""
    for _ in range(20):
        status, said = _send(port, device, entry)
        assert status == 503, said
        if said["reason"] == kind:
            return
    raise AssertionError(said)


def _is_taken_already(port: int, device: Device, entry: dict[str, Any]) -> None:
    status, answer = _send(port, device, entry)
    assert (status, answer["already"]) == (200, True)
    device.acknowledged[entry["identifier"]] = answer["event"]


@pytest.mark.slow
def test_a_writer_that_holds_the_database_for_long_is_told_and_the_service_goes_on(
    device: Device, start: Start
) -> None:
    """On SQLite its lock, on PostgreSQL the writers' queue; the house's patience is a second here."""
    port = start(TIDETALLY_PATIENCE="1")
    entry = device.entry()
    with transaction.atomic():
        serialize_writers()
        _is_refused(port, device, entry, Kind.BUSY)
    _is_taken(port, device, entry)
    assert held_against_the_book([device]) == []


def _all_send(work: list[tuple[Device, int]], *, most: int) -> None:
    """Each device sends to its port until so many are acknowledged; if that does not end, it is told."""
    stop = threading.Event()
    ended = threading.Timer(_PATIENCE, stop.set)
    ended.start()
    try:
        at_once(lambda one: one[0].send(one[1], stop, most=most), work)
    finally:
        ended.cancel()
    refused = [device.refused for device, _ in work]
    assert not stop.is_set(), f"not all was taken within {_PATIENCE:.0f} seconds; refused: {refused}"


@pytest.mark.slow
def test_two_servers_on_one_database_lose_and_double_nothing(transactional_db: None, start: Start) -> None:
    """Started by mistake, or side by side while one is changed; each entry goes to both at once."""
    devices = small_house(4, seed=4)
    ports = [start(), start()]
    for device in devices:
        entry = device.entry()
        answers = at_once(partial(_send, device=device, entry=entry), ports)
        assert [status for status, _ in answers] == [200, 200]
        first, second = sorted((answer for _, answer in answers), key=lambda answer: bool(answer["already"]))
        assert second == {**first, "already": True}
        device.acknowledged[entry["identifier"]] = first["event"]
    _all_send([(device, ports[number % 2]) for number, device in enumerate(devices)], most=8)
    assert sum(len(device.acknowledged) for device in devices) == 4 * 9
    assert held_against_the_book(devices) == []


@pytest.mark.slow
def test_with_a_pool_more_threads_than_connections_are_served(transactional_db: None, start: Start) -> None:
    """`serve` forks its processes after Django was loaded: no pool may be carried over."""
    if connection.vendor != "postgresql":
        pytest.skip("SQLite has no pool")
    devices = small_house(6, seed=5)
    port = start(TIDETALLY_POOL="2")
    _all_send([(device, port) for device in devices], most=6)
    assert [len(device.acknowledged) for device in devices] == [6] * 6
    assert [device.refused for device in devices] == [{}] * 6
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
            " AND backend_type = 'client backend' AND pid <> pg_backend_pid()"
        )
        assert cursor.fetchone()[0] <= 2
    assert held_against_the_book(devices) == []


def test_a_clock_that_is_set_back_an_hour_loses_nothing(device: Device, client: Client) -> None:
    """Entries then tell the earlier hour; the chain, which has its own order, holds."""
    bearer = {"Authorization": f"Bearer {device.token}"}
    begun = datetime.now(UTC)
    entries: list[dict[str, Any]] = []
    for hours in (1, 0, 2):  # an hour ahead, set back, right again
        with time_machine.travel(begun + timedelta(hours=hours), tick=False):
            entry = {**device.entry(), "saved_at": datetime.now(UTC).isoformat()}
            body = {"sent_at": datetime.now(UTC).isoformat(), "entries": [entry, *entries]}
            said = client.post("/api/v1/entries", body, "application/json", headers=bearer).json()["answers"]
            assert [one["outcome"] for one in said] == ["sent"] * len(said)
            assert [one["already"] for one in said] == [False] + [True] * len(entries)
            device.acknowledged[entry["identifier"]] = said[0]["event"]
            entries.append(entry)
            health = client.get("/health")
            assert ("before the last entry" in health.text) is (hours == 0)
    assert held_against_the_book([device]) == []


def test_eight_writers_at_once_lose_nothing(transactional_db: None) -> None:
    """Real transactions from eight threads, each entry sent twice and in the end once more by another."""
    devices = small_house(8, seed=6)

    def writes(device: Device) -> None:
        client, bearer = Client(), {"Authorization": f"Bearer {device.token}"}
        try:
            for _ in range(6):
                entry = device.entry()
                for already in (False, True):
                    body = {"sent_at": datetime.now(UTC).isoformat(), "entries": [entry]}
                    said = client.post("/api/v1/entries", body, "application/json", headers=bearer)
                    (answer,) = said.json()["answers"]
                    assert (answer["outcome"], answer["already"]) == ("sent", already)
                device.acknowledged[entry["identifier"]] = answer["event"]
        finally:
            connections.close_all()

    at_once(writes, devices)
    assert Event.objects.exclude(kind="opening").count() == 48
    assert held_against_the_book(devices) == []


@pytest.mark.slow
def test_a_migration_that_is_killed_half_way_is_taken_up_again(tmp_path: Path, django_db_setup: None,
                                                               django_db_blocker: Any) -> None:  # fmt: skip
    """Killed twice: each step is whole or not there, commands say what is to do, and the rest follows."""
    name = f"half_{uuid4().hex[:10]}"
    told = _environment(TIDETALLY_SQLITE=str(tmp_path / name))
    with django_db_blocker.unblock():
        if connection.vendor == "postgresql":
            with connection._nodb_cursor() as cursor:
                cursor.execute(f"CREATE DATABASE {name}")
            told["DATABASE_URL"] = _url(name)
    command = [sys.executable, "manage.py"]
    try:
        for steps in (6, 30):
            process = subprocess.Popen([*command, "migrate", "--verbosity=0"], cwd=settings.PROJECT, env=told)
            until = time.monotonic() + 2 * _PATIENCE
            while _steps_taken(tmp_path / name, name) < steps:
                assert process.poll() is None, "it ended before it could be killed"
                assert time.monotonic() < until
                time.sleep(0.01)
            process.send_signal(signal.SIGKILL)
            process.wait(_PATIENCE)
        half = _steps_taken(tmp_path / name, name)
        asking = [*command, "stock", "--as-of", "2026-10-06"]
        asked = subprocess.run(asking, cwd=settings.PROJECT, env=told, capture_output=True,
                               text=True, check=False, timeout=_PATIENCE)  # fmt: skip
        assert asked.returncode == 1, asked.stdout + asked.stderr
        assert "older than the program" in asked.stderr
        assert "Traceback" not in asked.stderr
        subprocess.run([*command, "migrate", "--verbosity=0"], cwd=settings.PROJECT, env=told, check=True,
                       timeout=4 * _PATIENCE)  # fmt: skip
        assert _steps_taken(tmp_path / name, name) > half
        proved = subprocess.run([*command, "verify"], cwd=settings.PROJECT, env=told, capture_output=True,
                                text=True, check=False, timeout=_PATIENCE)  # fmt: skip
        assert proved.returncode == 0, proved.stdout + proved.stderr  # verify looks for every trigger
    finally:
        if connection.vendor == "postgresql":
            with django_db_blocker.unblock(), connection._nodb_cursor() as cursor:
                cursor.execute(f"DROP DATABASE {name} WITH (FORCE)")


def _steps_taken(file: Path, name: str) -> int:
    """How many migrations a database has recorded; 0 where it has no such table yet."""
    asked = "SELECT count(*) FROM django_migrations"
    if connection.vendor == "sqlite":
        there = sqlite3.connect(f"file:{file}?mode=ro", uri=True) if file.exists() else None
        try:
            return int(there.execute(asked).fetchone()[0]) if there else 0
        except sqlite3.OperationalError:
            return 0
        finally:
            if there:
                there.close()
    import psycopg

    where = connection.settings_dict
    who = {"host": where["HOST"], "port": where["PORT"] or None, "user": where["USER"]}
    with psycopg.connect(dbname=name, **who) as server:
        try:
            row = server.execute(asked).fetchone()
        except psycopg.errors.UndefinedTable:
            return 0
        assert row
        return int(row[0])
