"""Writes that wait for each other are written in one transaction.

A commit waits for the disk, and while one waits, others come. Whoever has the turn takes all that wait in
its process and writes them one after another, each whole, with one commit. Nobody is answered before that.
"""

import threading
from collections.abc import Callable
from typing import Any, TypeVar

from django.db import connection, transaction

from .locks import busy, left_until, patience_ends, queue_of_writers, writers_lock
from .trips import going_along

MOST = 32

T = TypeVar("T")


class _Waiting:
    """A work that waits for its turn."""

    def __init__(self, work: Callable[[], Any], until: float) -> None:
        self.work = work
        # When its patience ends, and it is told that the database is busy.
        self.until = until
        # It has had its turn. Without an answer then, its group failed.
        self.over = False
        self.answers: list[Any] = []


class _Line:
    """The works of this process that wait, and whether a thread is writing some of them."""

    def __init__(self) -> None:
        self.changed = threading.Condition()
        self.waiting: list[_Waiting] = []
        self.writing = False

    def wait(self, mine: _Waiting) -> None:
        """Returns when ``mine`` has had its turn, in this thread or in another; raises when none came."""
        with self.changed:
            self.waiting.append(mine)
            while self.writing and not mine.over:
                if mine not in self.waiting:
                    # Another thread is writing it: only that one knows what becomes of it.
                    self.changed.wait()
                    continue
                left = left_until(mine.until)
                if not left:
                    self.waiting.remove(mine)
                    raise busy()
                self.changed.wait(left)
            if mine.over:
                return
            self.writing = True
        group: list[_Waiting] = []
        try:
            with queue_of_writers(mine.until):
                # Only now: whoever came while other processes wrote goes along.
                with self.changed:
                    group, self.waiting = self.waiting[:MOST], self.waiting[MOST:]
                _write(group)
        finally:
            with self.changed:
                self.writing = False
                # Many may have come before it: it does not wait a second time.
                self.waiting = [one for one in self.waiting if one is not mine]
                for one in group:
                    one.over = True
                self.changed.notify_all()


_line = _Line()


def write_together(work: Callable[[], T], careful: Callable[[], T] | None = None) -> T:
    """Does ``work`` in a transaction under the writers' lock and answers what it answers, once committed.

    The work may be done by another thread, on that thread's connection, beside others, without a savepoint
    of its own. When anything is raised, by this work or by one beside it or by the commit, nothing of the
    group is kept and each is done again alone, in its own thread; what is raised then is raised to its
    caller. So a work must be fit to be done twice, of which one is kept. Nobody waits in all longer than the
    house's patience, however many wait.

    ``careful`` is the same work for the time alone, when it differs: it may use savepoints, and ``work`` be
    without, for what it leaves half done when it raises is taken back with its group.
    """
    until = patience_ends()
    mine = _Waiting(work, until)
    if connection.in_atomic_block:
        _write([mine])
    else:
        _line.wait(mine)
    if mine.answers:
        answer: T = mine.answers[0]
        return answer
    with queue_of_writers(until), transaction.atomic(), writers_lock():
        return (careful or work)()


def _write(group: list[_Waiting]) -> None:
    try:
        # Nothing of it stays when anything is raised, so what is written may go along with what is asked.
        with transaction.atomic(), going_along(), writers_lock():
            answers = [one.work() for one in group]
    except Exception:
        return  # Each is done again by itself, and tells its own caller.
    for one, answer in zip(group, answers, strict=True):
        one.answers.append(answer)
