"""Work that several threads do at the same time, with an end: a test that waits says what did not end."""

import threading
import time
from collections.abc import Callable, Iterable
from typing import Any, TypeVar

Given = TypeVar("Given")
Made = TypeVar("Made")

# A crowded machine, and a wait of the database's own, end long before.
PATIENCE = 120.0


def at_once(
    work: Callable[[Given], Made], given: Iterable[Given], *, patience: float = PATIENCE
) -> list[Made]:
    """What ``work`` made of each, in a thread of its own; what one of them raised is raised here.

    After ``patience`` seconds the threads are left where they are, and the test fails.
    """
    taken = list(given)
    made: list[Any] = [None] * len(taken)
    raised: list[BaseException] = []

    def one(at: int) -> None:
        try:
            made[at] = work(taken[at])
        except BaseException as error:  # told by the test's own thread
            raised.append(error)

    threads = [threading.Thread(target=one, args=(at,), daemon=True) for at in range(len(taken))]
    for thread in threads:
        thread.start()
    until = time.monotonic() + patience
    for thread in threads:
        thread.join(max(until - time.monotonic(), 0))
    if raised:
        raise raised[0]
    left = sum(thread.is_alive() for thread in threads)
    assert not left, f"{left} of {len(threads)} threads did not end within {patience:.0f} seconds"
    return made
