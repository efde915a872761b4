"""Reports that were worked out already, as long as the book is what it was.

A report reads a hundred thousand cells, and is then sorted, turned and opened again and again. The
state of the book is asked each time (:mod:`inventory.book.queries.revision`), so that what is
remembered is right or is not used. Each process remembers for itself.
"""

from collections import OrderedDict
from datetime import tzinfo
from threading import Lock

from django.db import connection

from inventory.book.queries.revision import BookState, book_state

from ..rules.question import Question
from .report import Report, change_report

Key = tuple[BookState, Question, str, str]

ROWS_KEPT = 60_000
_reports: OrderedDict[Key, Report] = OrderedDict()
_lock = Lock()


def remembered_report(question: Question, *, zone: tzinfo) -> Report:
    """The same answer as :func:`change_report`; nobody changes what it holds.

    Inside a transaction nothing is remembered: its state may be taken back and come again as another.
    """
    if connection.in_atomic_block:
        return change_report(question, zone=zone)
    key = (book_state(), question, str(zone), str(connection.settings_dict["NAME"]))
    with _lock:
        if key in _reports:
            _reports.move_to_end(key)
            return _reports[key]
    report = change_report(question, zone=zone)
    # Nothing was entered while it was worked out, or it would stand under the wrong state.
    if book_state() == key[0]:
        with _lock:
            _keep(key, report)
    return report


def _keep(key: Key, report: Report) -> None:
    """Keeps the newest reports, up to a number of rows in all; those of an earlier state go first."""
    for old in [old for old in _reports if old[0] != key[0]]:
        del _reports[old]
    _reports[key] = report
    while len(_reports) > 1 and sum(len(kept.rows) for kept in _reports.values()) > ROWS_KEPT:
        _reports.popitem(last=False)
