"""A layout's answer, remembered as long as nothing has changed that it was made of."""

from collections import OrderedDict
from collections.abc import Mapping
from datetime import date, datetime
from threading import Lock

from django.db import connection
from django.utils import timezone

from census.change.rules.question import Basis, Question, default_basis
from census.rounds.models import Census
from inventory.book.models import Period
from inventory.book.queries.quantities.sql import rows
from inventory.book.queries.revision import book_state
from inventory.book.rules.scope import Scope
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
       (SELECT MAX(id) FROM names_taxonname), (SELECT MAX(id) FROM reports_stocklistcolumns),
       (SELECT MAX(id) FROM names_backbonerelease WHERE is_current), (SELECT MAX(name) FROM people_house),
       (SELECT MAX(licence_number) FROM people_house)
"""
LINES_KEPT = 150_000
_documents: OrderedDict[tuple[object, ...], tuple[int, Document]] = OrderedDict()
_lock = Lock()


def document_of(layout: Layout, question: Question, saying: Saying, subject: str = "") -> Document:
    """The report. Raises ValueError, with what to do, when the layout cannot answer.

    Inside a transaction nothing is remembered: its state may be taken back and come again as another.
    """
    if connection.in_atomic_block or not layout.remembered:
        return layout.answer(question, saying, subject)
    state = _state()
    key = (state, layout.name, question, saying, subject, str(connection.settings_dict["NAME"]))
    with _lock:
        if key in _documents:
            _documents.move_to_end(key)
            return _documents[key][1]
    document = layout.answer(question, saying, subject)
    if _state() == state:
        with _lock:
            _keep(key, document)
    return document


def forget() -> None:
    """Everything; for who measures."""
    with _lock:
        _documents.clear()


def _state() -> tuple[object, ...]:
    """Three queries."""
    return (
        book_state(),
        tuple(rows(_BESIDE, [])[0]),
        tuple(Census.objects.order_by("pk").values_list("pk", "state")),
        tuple(Person.objects.order_by("pk").values_list("name", flat=True)),
    )


def _keep(key: tuple[object, ...], document: Document) -> None:
    """The newest, up to a number of lines in all; those of an earlier state go first."""
    for old in [old for old in _documents if old[0] != key[0]]:
        del _documents[old]
    _documents[key] = (document.lines, document)
    while len(_documents) > 1 and sum(lines for lines, _ in _documents.values()) > LINES_KEPT:
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
