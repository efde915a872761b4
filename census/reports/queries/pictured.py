"""The content of the picture of a report, for paper; a page asks for it by its address."""

from dataclasses import dataclass

from inventory.book.models import Document as Paper
from inventory.book.queries.documents import read_document

from ..rules.document import Document


@dataclass(frozen=True, slots=True)
class Pictured:
    """Sides in px."""

    content: bytes
    width: int
    height: int


def pictured(document: Document) -> Pictured | None:
    """One query where there is a picture. None too where its file is gone or altered: the report is made, and
    whoever checks the papers is told."""
    picture = document.picture
    if picture is None:
        return None
    try:
        content = read_document(Paper.objects.get(sha256=picture.sha256))
    except (Paper.DoesNotExist, ValueError):
        return None
    return Pictured(content, picture.width, picture.height)
