"""Reports that were worked out already, as long as the book is what it was as far as they read it.

A report reads a hundred thousand cells, and is then sorted, turned and opened again and again. The
state of the book is asked each time (:mod:`inventory.book.queries.revision`), so that what is
remembered is right or is not used: an entry of today leaves the report of the last quarter as it was. The
state and all that is read are of one moment, though others enter meanwhile. Each process remembers for
itself.
"""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import replace
from datetime import tzinfo
from threading import Lock

from django.db import connection

from inventory.book.queries.revision import BookState, book_state, unchanged_before, unchanged_sources
from inventory.book.rules.happened import end_of_day
from inventory.db.moment import one_moment

from ..rules.question import By, Question
from .report import Report, change_report, change_reports, change_reports_of_periods

Key = tuple[Question, str, str]

ROWS_KEPT = 120_000
_reports: OrderedDict[Key, tuple[BookState, Report]] = OrderedDict()
_lock = Lock()


def remembered_report(question: Question, *, zone: tzinfo) -> Report:
    """The same answer as :func:`change_report`; nobody changes what it holds.

    Inside a transaction nothing is remembered: its state may be taken back and come again as another.
    """
    if connection.in_atomic_block:
        return change_report(question, zone=zone)
    return remembered_reports(question, [question.by], zone=zone)[0]


def remembered_reports(question: Question, groupings: Sequence[By], *, zone: tzinfo) -> list[Report]:
    """The same question by each of ``groupings``; what is not remembered comes out of one reading."""
    if connection.in_atomic_block:
        return change_reports(question, groupings, zone=zone)
    with one_moment():
        return _of_one_moment(question, groupings, zone=zone)


def _of_one_moment(question: Question, groupings: Sequence[By], *, zone: tzinfo) -> list[Report]:
    state, database = book_state(), str(connection.settings_dict["NAME"])
    keys = {by: (replace(question, by=by), str(zone), database) for by in groupings}
    found = {by: report for by, key in keys.items() if (report := _recalled(key, state, zone))}
    wanted = [by for by in groupings if by not in found]
    if wanted:
        found |= dict(zip(wanted, change_reports(question, wanted, zone=zone), strict=True))
        with _lock:
            for by in wanted:
                _keep(keys[by], state, found[by])
    return [found[by] for by in groupings]


def remembered_periods(questions: Sequence[Question], *, zone: tzinfo) -> list[Report]:
    """The report of each question, in their order; those that are not remembered come out of one reading."""
    if connection.in_atomic_block:
        return change_reports_of_periods(questions, zone=zone)
    with one_moment():
        return _periods_of_one_moment(questions, zone=zone)


def _periods_of_one_moment(questions: Sequence[Question], *, zone: tzinfo) -> list[Report]:
    state, database = book_state(), str(connection.settings_dict["NAME"])
    keys = {question: (question, str(zone), database) for question in questions}
    found = {one: report for one, key in keys.items() if (report := _recalled(key, state, zone))}
    wanted = [one for one in keys if one not in found]
    made = change_reports_of_periods(wanted, zone=zone)
    found |= dict(zip(wanted, made, strict=True))
    with _lock:
        for one in wanted:
            _keep(keys[one], state, found[one])
    return [found[question] for question in questions]


def _recalled(key: Key, state: BookState, zone: tzinfo) -> Report | None:
    """What is remembered and still right. One or two queries when the book has grown since."""
    with _lock:
        kept = _reports.get(key)
    if kept is None:
        return None
    then, report = kept
    if then != state:
        if not unchanged_before(then, state, before=end_of_day(key[0].last_day, zone)):
            return None
        # A source is told by a lot's whole life, later arrivals too.
        if key[0].by is By.SOURCE and not unchanged_sources(then, state):
            return None
    with _lock:
        _reports[key] = (state, report)
        _reports.move_to_end(key)
    return report


def _keep(key: Key, state: BookState, report: Report) -> None:
    """Keeps the newest reports, up to a number of rows in all."""
    _reports[key] = (state, report)
    _reports.move_to_end(key)
    while len(_reports) > 1 and sum(len(kept.rows) for _, kept in _reports.values()) > ROWS_KEPT:
        _reports.popitem(last=False)
