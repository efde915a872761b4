"""Serves the site from several processes that share one address.

Python computes in one core a process; a house of two cores answers twice as many tablets from two. The
parent only opens the address and keeps the children running; none of them holds anything that another
needs, for all state is in the database.
"""

import os
import signal
import socket
import sys
import time
from collections.abc import Callable
from types import FrameType

from waitress import serve  # type: ignore[import-untyped]

# A child that dies as soon as it is born would otherwise keep a core busy with births.
_BETWEEN_BIRTHS = 1.0
# Seconds after which a thread that computes lets another of its process go on. Python's own 5 ms are longer
# than an entry takes: who writes under the ledger's lock waits for its turn anew after each question to the
# database, and everybody behind it waits along.
_TURN = 0.0005


def listen(address: str, port: int) -> socket.socket:
    """An open address. Raises OSError when it is taken."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    opened = socket.create_server((address, port), family=family, backlog=256)
    opened.set_inheritable(True)
    return opened


def serve_from(
    opened: socket.socket,
    application: Callable[..., object],
    *,
    processes: int,
    threads: int,
    behind: str = "",
) -> None:
    """Serves until SIGTERM or SIGINT. ``behind`` is the proxy whose word on TLS is believed, if any."""
    if processes == 1:
        _serve(opened, application, threads, behind)
        return
    children: dict[int, float] = {}
    stopping = False

    def stop(signum: int, frame: FrameType | None) -> None:
        nonlocal stopping
        stopping = True
        for child in children:
            os.kill(child, signal.SIGTERM)

    def bear() -> None:
        child = os.fork()
        if child == 0:
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
            signal.signal(signal.SIGINT, signal.SIG_IGN)
            try:
                _serve(opened, application, threads, behind)
            finally:
                os._exit(0)
        children[child] = time.monotonic()

    for _ in range(processes):
        bear()
    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    while children:
        try:
            child, _ = os.wait()
        except ChildProcessError:
            break
        born = children.pop(child, 0.0)
        if not stopping:
            time.sleep(max(0.0, _BETWEEN_BIRTHS - (time.monotonic() - born)))
        if not stopping:
            bear()


def _serve(opened: socket.socket, application: Callable[..., object], threads: int, behind: str) -> None:
    def finish(signum: int, frame: FrameType | None) -> None:
        raise SystemExit(0)  # waitress ends its loop on it and waits for its threads

    signal.signal(signal.SIGTERM, finish)
    sys.setswitchinterval(_TURN)
    trusted = {
        "trusted_proxy": behind,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto", "x-forwarded-host"},
    }
    serve(
        application, sockets=[opened], threads=threads, ident=None, _quiet=True, **(trusted if behind else {})
    )
