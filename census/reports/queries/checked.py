"""What does not tie in a report, remembered as long as the book is what it was as far as the report goes."""

from collections import OrderedDict
from threading import Lock

from django.db import connection
from django.utils import timezone

from census.change.queries.unhindered import without_collecting
from inventory.book.queries.revision import BookState, unchanged_before

from ..rules.checking import failures
from ..rules.document import Document
from .documents import last_moment
from .layouts import LAYOUTS

_Key = tuple[object, ...]
KEPT = 200
_known: OrderedDict[_Key, tuple[BookState, list[str]]] = OrderedDict()
_lock = Lock()


def checked(document: Document) -> list[str]:
    """The same answer as :func:`failures`, which makes every line of a long report.

    It is that of the state of the book which the report was made of, not of now: others may have entered
    since. Inside a transaction nothing is remembered: its state may be taken back and come again as another.
    """
    state = document.read_of
    if connection.in_atomic_block or not isinstance(state, BookState):
        return failures(document)
    columns = tuple((part.key, tuple(column.key for column in part.columns)) for part in document.parts)
    zone = str(timezone.get_current_timezone())
    # The title tells what a report of one thing is about, which its questions do not.
    asked = (document.layout, document.title, tuple(document.questions), columns)
    key = (*asked, zone, str(connection.settings_dict["NAME"]))
    recalled = _recalled(document, key, state)
    if recalled is not None:
        return recalled
    with without_collecting():
        wrong = failures(document)
    with _lock:
        _keep(key, state, wrong)
    return wrong


def _recalled(document: Document, key: _Key, state: BookState) -> list[str] | None:
    """What is remembered and still right. One query when the book has grown since."""
    with _lock:
        kept = _known.get(key)
    if kept is None:
        return None
    then, wrong = kept
    if then != state:
        before = last_moment(document.questions, timezone.get_current_timezone())
        if not LAYOUTS[document.layout].remembered or not unchanged_before(then, state, before=before):
            return None
    with _lock:
        _keep(key, state, wrong)
    return wrong


def _keep(key: _Key, state: BookState, wrong: list[str]) -> None:
    _known[key] = (state, wrong)
    _known.move_to_end(key)
    while len(_known) > KEPT:
        _known.popitem(last=False)
