"""A layout's answer, remembered as long as nothing has changed that it was made of.

What is entered later and dated after its last day changes nothing in it; a report of a period that is over
stays as it is while people go on entering.
"""

from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, tzinfo
from threading import Lock

from django.db import connection
from django.utils import timezone

from census.change.queries.unhindered import without_collecting
from census.change.rules.question import Basis, Question, default_basis
from census.rounds.models import Census
from inventory.book.models import Period
from inventory.book.queries.quantities.sql import rows
from inventory.book.queries.revision import BookState, book_state, unchanged_before
from inventory.book.rules.happened import end_of_day
from inventory.book.rules.scope import Scope
from inventory.db.moment import one_moment
from inventory.people.models import Person

from ..rules.document import Document
from ..rules.said import Saying
from ..rules.schedule import is_quarter
from .layouts import LAYOUTS, Layout

# What a layout tells beside the book: counts and what was decided, keepers, names, the house's own words.
_BESIDE = """
SELECT (SELECT MAX(id) FROM rounds_count), (SELECT MAX(id) FROM rounds_decision),
       (SELECT MAX(id) FROM rounds_line), (SELECT MAX(id) FROM rounds_sheet),
       (SELECT MAX(id) FROM book_keeping), (SELECT COUNT(until) FROM book_keeping),
       (SELECT MAX(id) FROM book_lot), (SELECT MAX(id) FROM names_taxon),
       (SELECT MAX(id) FROM names_taxonname), (SELECT MAX(id) FROM reports_stocklistcolumns),
       (SELECT MAX(id) FROM names_backbonerelease WHERE is_current), (SELECT MAX(name) FROM people_house),
       (SELECT MAX(licence_number) FROM people_house)
"""
LINES_KEPT = 150_000


@dataclass(frozen=True, slots=True)
class _State:
    """The book, and what is told beside it. ``censuses``: number, state and the days of the period."""

    book: BookState
    beside: tuple[object, ...]
    censuses: tuple[tuple[object, ...], ...]
    persons: tuple[str, ...]


_Key = tuple[str, Question, Saying, str, str]
_documents: OrderedDict[_Key, tuple[_State, Document]] = OrderedDict()
_lock = Lock()


def document_of(layout: Layout, question: Question, saying: Saying, subject: str = "") -> Document:
    """The report, of one moment though others enter meanwhile. Raises ValueError, with what to do, when the
    layout cannot answer.

    Inside a transaction nothing is remembered: its state may be taken back and come again as another.
    """
    if connection.in_atomic_block:
        return layout.answer(question, saying, subject)
    with one_moment():
        if not layout.remembered:
            return replace(layout.answer(question, saying, subject), read_of=book_state())
        return _remembered(layout, question, saying, subject)


def _remembered(layout: Layout, question: Question, saying: Saying, subject: str) -> Document:
    state = _state()
    key = (layout.name, question, saying, subject, str(connection.settings_dict["NAME"]))
    recalled = _recalled(layout, key, state)
    if recalled is not None:
        return recalled
    with without_collecting():
        document = replace(layout.answer(question, saying, subject), read_of=state.book)
    with _lock:
        _keep(key, state, document)
    return document


def forget() -> None:
    """Everything; for who measures."""
    with _lock:
        _documents.clear()


def last_moment(questions: Sequence[Question], zone: tzinfo) -> datetime:
    """The moment before which all is dated that a report of these questions counts."""
    return end_of_day(max(question.last_day for question in questions), zone)


def _state() -> _State:
    """Four queries."""
    days = ("period__starts_on", "period__ends_on")
    return _State(
        book=book_state(),
        beside=tuple(rows(_BESIDE, [])[0]),
        censuses=tuple(Census.objects.order_by("pk").values_list("pk", "state", *days)),
        persons=tuple(Person.objects.order_by("pk").values_list("name", flat=True)),
    )


def _recalled(layout: Layout, key: _Key, state: _State) -> Document | None:
    """What is remembered and still right. One query more when the book has grown since."""
    with _lock:
        kept = _documents.get(key)
    if kept is None:
        return None
    then, document = kept
    if then != state and not _same_for(layout, document, then, state, key[2].zone):
        return None
    with _lock:
        _documents[key] = (state, document)
        _documents.move_to_end(key)
    return document


def _same_for(layout: Layout, document: Document, then: _State, now: _State, zone: tzinfo) -> bool:
    """Whether what has changed between two states is nothing that a document tells."""
    if (then.beside, then.censuses, then.persons) != (now.beside, now.censuses, now.persons):
        return False
    if layout.counts and _has_census(document.questions, now):
        return False
    return unchanged_before(then.book, now.book, before=last_moment(document.questions, zone))


def _has_census(questions: Sequence[Question], state: _State) -> bool:
    periods = {(question.first_day, question.last_day) for question in questions}
    return any(one[2:] in periods for one in state.censuses)


def _keep(key: _Key, state: _State, document: Document) -> None:
    """The newest, up to a number of lines in all."""
    _documents[key] = (state, document)
    _documents.move_to_end(key)
    while len(_documents) > 1 and sum(kept.lines for _, kept in _documents.values()) > LINES_KEPT:
        _documents.popitem(last=False)


def layout_called(name: str) -> Layout:
    """Raises ValueError naming those that there are."""
    if name not in LAYOUTS:
        raise ValueError(f"there is no report called “{name}”; there are: {', '.join(LAYOUTS)}")
    return LAYOUTS[name]


def question_of(layout: Layout, asked: Mapping[str, str], *, today: date) -> tuple[Question, str]:
    """A question, and what it is about, from what a page's address has. Raises ValueError."""
    first, last = layout.period(today)
    known = asked.get("known_at", "")
    moment = datetime.fromisoformat(known) if known else None
    if moment is not None and timezone.is_naive(moment):
        moment = timezone.make_aware(moment)
    basis = asked.get("basis")
    question = Question(
        first_day=date.fromisoformat(asked.get("first_day") or first.isoformat()),
        last_day=date.fromisoformat(asked.get("last_day") or last.isoformat()),
        scope=Scope(asked.get("scope") or Scope.HERE.value),
        basis=Basis(basis) if basis else default_basis(moment),
        known_at=moment,
    )
    return question, asked.get("subject", "")


def newest_closed_quarter() -> tuple[date, date] | None:
    """Days of the newest calendar quarter that has a closing. One query."""
    closed = Period.objects.filter(versions__isnull=False).order_by("-ends_on").distinct()
    days = closed.values_list("starts_on", "ends_on")
    return next((pair for pair in days if is_quarter(*pair)), None)
