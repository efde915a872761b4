"""Reports that were worked out already, as long as the book is what it was.

A report reads a hundred thousand cells, and is then sorted, turned and opened again and again. The
state of the book is asked each time (:mod:`inventory.book.queries.revision`), so that what is
remembered is right or is not used. Each process remembers for itself.
"""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from datetime import tzinfo
from threading import Lock

from django.db import connection

from inventory.book.queries.revision import BookState, book_state

from ..rules.question import By, Question
from .report import Report, change_report, change_reports

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


def remembered_reports(question: Question, groupings: Sequence[By], *, zone: tzinfo) -> list[Report]:
    """The same question by each of ``groupings``; what is not remembered comes out of one reading."""
    if connection.in_atomic_block:
        return change_reports(question, groupings, zone=zone)
    state, database = book_state(), str(connection.settings_dict["NAME"])
    keys = {by: (state, replace(question, by=by), str(zone), database) for by in groupings}
    with _lock:
        found = {by: _reports[key] for by, key in keys.items() if key in _reports}
    wanted = [by for by in groupings if by not in found]
    if wanted:
        found |= dict(zip(wanted, change_reports(question, wanted, zone=zone), strict=True))
        if book_state() == state:
            with _lock:
                for by in wanted:
                    _keep(keys[by], found[by])
    return [found[by] for by in groupings]


def _keep(key: Key, report: Report) -> None:
    """Keeps the newest reports, up to a number of rows in all; those of an earlier state go first."""
    for old in [old for old in _reports if old[0] != key[0]]:
        del _reports[old]
    _reports[key] = report
    while len(_reports) > 1 and sum(len(kept.rows) for kept in _reports.values()) > ROWS_KEPT:
        _reports.popitem(last=False)
