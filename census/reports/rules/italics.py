"""The scientific names that a report knows, so that its sentences can be printed with them."""

from collections.abc import Iterable

from inventory.names.rules.italics import Italics

from .document import Document, Line

NAMED = 2_000
"""Lines: of a longer report those of the page alone are looked at, for the page's sake."""


def italics_of(document: Document, shown: Iterable[Line]) -> Italics:
    """Of what it is about, of its lines, and of what is only present; as accepted, as typed and as
    it was called before."""
    lines = shown
    if document.lines <= NAMED:
        lines = (line for part in document.parts for table in part.tables() for line in table.lines)
    names = {document.subject, *document.called, *document.present_only}
    for line in lines:
        if line.name:
            names |= {line.name.accepted, *line.name.typed, *line.name.former}
    return Italics(names)
