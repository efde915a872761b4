"""What does not tie in a report, remembered as long as the book is what it was."""

from collections import OrderedDict
from threading import Lock

from django.db import connection

from inventory.book.queries.revision import BookState, book_state

from ..rules.checking import failures
from ..rules.document import Document

_Key = tuple[BookState, object, object, object, str]
KEPT = 200
_known: OrderedDict[_Key, list[str]] = OrderedDict()
_lock = Lock()


def checked(document: Document) -> list[str]:
    """The same answer as :func:`failures`, which makes every line of a long report.

    Inside a transaction nothing is remembered: its state may be taken back and come again as another.
    """
    if connection.in_atomic_block:
        return failures(document)
    columns = tuple((part.key, tuple(column.key for column in part.columns)) for part in document.parts)
    key = (
        book_state(),
        document.layout,
        tuple(document.questions),
        columns,
        str(connection.settings_dict["NAME"]),
    )
    with _lock:
        if key in _known:
            _known.move_to_end(key)
            return _known[key]
    wrong = failures(document)
    if book_state() == key[0]:
        with _lock:
            _known[key] = wrong
            while len(_known) > KEPT:
                _known.popitem(last=False)
    return wrong
