"""Work that makes hundreds of thousands of small things, none of them in a circle."""

import gc
from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

_lock = Lock()
_inside = 0
_was_on = False


@contextmanager
def without_collecting() -> Iterator[None]:
    """Puts the cycle collector off: it would walk over every row again and again, a quarter of the time.

    What is not needed any more goes all the same, by its count of references. Several threads may be inside;
    the last one to leave switches it on again.
    """
    global _inside, _was_on  # noqa: PLW0603  (there is one collector in a process)
    with _lock:
        if _inside == 0:
            _was_on = gc.isenabled()
            gc.disable()
        _inside += 1
    try:
        yield
    finally:
        with _lock:
            _inside -= 1
            if _inside == 0 and _was_on:
                gc.enable()
