"""A PostgreSQL of its own that may be killed: on a socket in a new folder, taken away at the end.

Unlike that of `.ci/postgresql` a commit waits until the log of it is written, for these tests are about
what survives. Written means given to the system: a process that is killed loses what its own memory held
and no more, so that nothing is forced down to the disk here. A power cut is not tried.
"""

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

_PATIENCE = 60.0


def programs() -> Path | None:
    """The folder of PostgreSQL's programs: on the path, or where Debian keeps them."""
    found = shutil.which("initdb")
    folders = [Path(found).resolve().parent] if found else []
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((folder for folder in folders if (folder / "pg_ctl").exists()), None)


class Cluster:
    """A server with its data in ``home``; as root it runs as another user, for it refuses to be root."""

    def __init__(self, home: Path, *, options: Mapping[str, str] | None = None) -> None:
        found = programs()
        assert found, "no PostgreSQL on this machine"
        self.programs, self.home, self.data = found, home, home / "data"
        self.as_owner: list[str] = []
        if os.geteuid() == 0:
            shutil.chown(home, "postgres")
            self.as_owner = ["runuser", "-u", "postgres", "--"]
        home.chmod(0o755)
        words = {
            "listen_addresses": "''",
            "fsync": "off",
            "unix_socket_directories": f"'{home}'",
            **(options or {}),
        }
        self.options = " ".join(f"-c {name}={value}" for name, value in words.items())
        self._run("initdb", "-D", str(self.data), "-U", "tidetally", "-A", "trust", "-E", "UTF8",
                  "--locale=C", "--no-sync")  # fmt: skip
        self.start()

    def url(self, name: str = "postgres") -> str:
        return f"postgres://tidetally@{str(self.home).replace('/', '%2F')}/{name}"

    def start(self) -> None:
        """Starts it, also after it was killed, and waits until it takes connections."""
        self._run("pg_ctl", "-D", str(self.data), "-l", str(self.home / "server.log"), "-w", "-t", "60",
                  "start", "-o", self.options)  # fmt: skip

    def postmaster(self) -> int:
        return int((self.data / "postmaster.pid").read_text().split()[0])

    def children(self) -> dict[int, str]:
        """The server's own processes, by what they say they do."""
        listed = subprocess.run(
            ["ps", "-o", "pid=,args=", "--ppid", str(self.postmaster())],
            capture_output=True, text=True, check=False, timeout=_PATIENCE,
        )  # fmt: skip
        rows = (line.strip().partition(" ") for line in listed.stdout.splitlines())
        return {int(pid): words for pid, _, words in rows}

    def kill(self) -> None:
        """Every process of it at once, as when the machine's memory runs out."""
        first = self.postmaster()
        os.kill(first, signal.SIGSTOP)  # so that it makes no more while they are listed
        doomed = [first, *self.children()]
        for pid in doomed:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        until = time.monotonic() + _PATIENCE
        while any(_lives(pid) for pid in doomed):
            assert time.monotonic() < until, "a killed server lives"
            time.sleep(0.005)

    def kill_a_backend(self) -> bool:
        """A process that serves a connection; the server then starts anew by itself. False: there is none."""
        serving = [pid for pid, words in self.children().items() if "tidetally" in words]
        for pid in serving[:1]:
            with suppress(ProcessLookupError):
                os.kill(pid, signal.SIGKILL)
        return bool(serving)

    def stop(self) -> None:
        if (self.data / "postmaster.pid").exists() and _lives(self.postmaster()):
            with suppress(subprocess.CalledProcessError):
                self._run("pg_ctl", "-D", str(self.data), "-m", "immediate", "-w", "stop")

    def _run(self, program: str, *words: str) -> None:
        command: list[Any] = [*self.as_owner, self.programs / program, *words]
        subprocess.run(command, cwd=self.home, check=True, capture_output=True, timeout=2 * _PATIENCE)


@contextmanager
def cluster(*, options: Mapping[str, str] | None = None) -> Iterator[Cluster]:
    """A cluster until the end of the block."""
    home = Path(tempfile.mkdtemp(prefix="tidetally-pg-"))
    made = None
    try:
        made = Cluster(home, options=options)
        yield made
    finally:
        if made:
            made.stop()
        shutil.rmtree(home, ignore_errors=True)


def _lives(pid: int) -> bool:
    """False for one that is dead and waits to be noticed by its parent, too; notices it where that is us."""
    with suppress(ChildProcessError):
        os.waitpid(pid, os.WNOHANG)
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False
