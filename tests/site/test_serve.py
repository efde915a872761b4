"""The house's own server: several processes, one address, an end that loses nothing."""

import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from urllib.request import Request, urlopen

import pytest
from django.conf import settings

from ..migrated import copy_of_the_tests_database, on_sqlite_anyhow

pytestmark = on_sqlite_anyhow


@pytest.fixture
def environment(tmp_path: Path, db: None) -> dict[str, str]:
    copy_of_the_tests_database(tmp_path / "tidetally.sqlite3")
    told = {**os.environ, "TIDETALLY_DATA": str(tmp_path)}
    told.pop("DATABASE_URL", None)
    told.pop("DJANGO_SETTINGS_MODULE", None)
    return told


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def server(environment: dict[str, str]) -> Iterator[tuple[subprocess.Popen[str], int]]:
    port = _free_port()
    command = [sys.executable, "manage.py", "serve", f"--port={port}", "--processes=2", "--behind=127.0.0.1"]
    process = subprocess.Popen(
        command, cwd=settings.PROJECT, env=environment, stderr=subprocess.DEVNULL, text=True
    )
    try:
        until = time.monotonic() + 60
        while not _is_open(port):
            assert process.poll() is None, "the server did not start"
            assert time.monotonic() < until, "the server does not answer"
            time.sleep(0.1)
        yield process, port
    finally:
        process.kill()
        process.wait(60)


def _is_open(port: int) -> bool:
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return False
    return True


def _health(port: int, **headers: str) -> str:
    with urlopen(Request(f"http://127.0.0.1:{port}/health", headers=headers), timeout=20) as answer:
        return str(answer.read().decode())


def _children(parent: int) -> list[int]:
    listed = subprocess.run(
        ["ps", "-o", "pid=", "--ppid", str(parent)], capture_output=True, text=True, check=False, timeout=60
    )
    return [int(pid) for pid in listed.stdout.split()]


def test_a_process_that_is_killed_is_replaced_and_the_end_comes_when_asked(
    server: tuple[subprocess.Popen[str], int],
) -> None:
    process, port = server
    assert _health(port) == "ok\n"
    first = _children(process.pid)
    assert len(first) == 2
    os.kill(first[0], signal.SIGKILL)
    for _ in range(200):
        now = _children(process.pid)
        if len(now) == 2 and first[0] not in now:
            break
        time.sleep(0.1)
    assert len(now) == 2
    assert first[0] not in now
    assert _health(port) == "ok\n"
    process.terminate()
    assert process.wait(30) == 0
    with pytest.raises(OSError):  # noqa: PT011 - refused or reset, as the system likes
        _health(port)


def test_a_port_that_is_taken_is_told_in_words(environment: dict[str, str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = subprocess.run(
            [sys.executable, "manage.py", "serve", f"--port={port}"],
            cwd=settings.PROJECT,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
    assert done.returncode == 2
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr
