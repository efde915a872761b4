"""Who waits behind a database that somebody else holds is told within one patience, however many wait."""

import fcntl
import sqlite3
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.db import OperationalError, connection, connections

from inventory.book.models import Place
from inventory.db import locks, together
from inventory.db.locks import patience_ends, queue_of_writers
from inventory.db.together import write_together
from inventory.doors.troubles import Kind, trouble_of

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(
        "sqlite" not in connections.settings["default"]["ENGINE"], reason="PostgreSQL has a queue of its own"
    ),
]
OVER = 0.0  # a moment that lies behind


@contextmanager
def held_by_a_stranger() -> Iterator[None]:
    """A program that is none of ours has begun to write, and does not end."""
    stranger = sqlite3.connect(connection.settings_dict["NAME"], isolation_level=None)
    stranger.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        stranger.execute("ROLLBACK")
        stranger.close()


def place(code: str) -> str:
    Place.objects.create(code=code, name=code, kind="tank")
    return code


def kind_of(work: Callable[[], Any]) -> Kind | None:
    """The trouble that is told; none when it was done."""
    try:
        work()
    except OperationalError as error:
        trouble = trouble_of(error)
        return trouble.kind if trouble else None
    finally:
        connection.close()
    return None


def waits() -> int:
    """Milliseconds for which SQLite waits on this thread's connection."""
    with connection.cursor() as cursor:
        cursor.execute("PRAGMA busy_timeout")
        return int(cursor.fetchone()[0])


def test_whose_patience_is_over_tries_once_and_the_next_waits_as_ever() -> None:
    before = waits()
    with queue_of_writers(OVER):
        assert waits() == 0
        place("W1")
    assert waits() == before == 1_000 * connection.settings_dict["OPTIONS"]["timeout"]
    with queue_of_writers():
        assert waits() == before


def test_a_stranger_a_thread_and_a_process_in_the_way_are_told_alike(tmp_path: Path) -> None:
    def write() -> None:
        with queue_of_writers(OVER):
            place("W1")

    with held_by_a_stranger():
        assert kind_of(write) == Kind.BUSY
    with locks._queue:
        assert kind_of(write) == Kind.BUSY
    # Opened anew it is another's lock, as in another process (flock(2)).
    with open(f"{connection.settings_dict['NAME']}-queue", "a", encoding="ascii") as other:
        fcntl.flock(other, fcntl.LOCK_EX)
        assert kind_of(write) == Kind.BUSY
    assert kind_of(write) is None


def test_of_many_who_wait_only_the_first_waits_at_the_lock(monkeypatch: pytest.MonkeyPatch) -> None:
    """The clock stands still until the first has waited in vain; then one patience has passed for all."""
    threads, clock, at_the_lock = 6, [1_000.0], []
    monkeypatch.setitem(connection.settings_dict["OPTIONS"], "timeout", 0.2)
    monkeypatch.setattr(locks, "monotonic", lambda: clock[0])
    all_wait = threading.Event()
    write, wait = together._write, locks._wait_at_most

    def in_vain(group: Any) -> None:
        until = threading.Event()
        for _ in range(1_000):
            if all_wait.is_set() or len(together._line.waiting) == threads - 1:
                break
            until.wait(0.01)
        all_wait.set()
        write(group)
        clock[0] = 1_000.2

    def noted(seconds: float) -> None:
        at_the_lock.append(seconds)
        wait(seconds)

    monkeypatch.setattr(together, "_write", in_vain)
    monkeypatch.setattr(locks, "_wait_at_most", noted)
    with held_by_a_stranger(), ThreadPoolExecutor(threads) as pool:
        works = [pool.submit(kind_of, lambda: write_together(lambda: place("W1"))) for _ in range(threads)]
        told = [work.result(60) for work in works]
    assert told == [Kind.BUSY] * threads
    # Whoever came to the lock after the first asked it without waiting, and put the patience back.
    assert set(at_the_lock[::2]) == {0.0}
    assert set(at_the_lock[1::2]) == {0.2}
    assert not Place.objects.filter(code__startswith="W").exists()


def test_who_leaves_the_line_takes_the_work_along(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(together._line, "writing", True)
    monkeypatch.setattr(together, "patience_ends", lambda: OVER)
    assert kind_of(lambda: write_together(lambda: place("W1"))) == Kind.BUSY
    assert together._line.waiting == []
    assert not Place.objects.filter(code="W1").exists()


def test_the_patience_is_that_of_the_settings(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(locks, "monotonic", lambda: 7.0)
    assert patience_ends() == 7.0 + connection.settings_dict["OPTIONS"]["timeout"]
