"""One file of a report, whichever form: for the pages, the command and what is made in the background."""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from io import BytesIO, StringIO

from census.change.rules.words import NOT_OVER, running_in_words

from ..queries.annex import TooMany, annex
from ..queries.pictured import pictured
from ..rules.document import Document
from ..rules.entries import Annex
from ..rules.said import Saying
from .comma import write_csv
from .paper import write_pdf
from .workbook import write_workbook


def file_of(
    document: Document,
    form: str,
    *,
    saying: Saying,
    now: datetime,
    part: str = "",
    by: str = "",
    progress: Callable[[int], None] = lambda lines: None,
) -> bytes:
    """The bytes. ``by``: who makes it, which it says. Raises ValueError for a part that is not there."""
    running = running_of(document, saying=saying, now=now)
    if form == "csv":
        keys = [one.key for one in document.parts]
        if part and part not in keys:
            raise ValueError(f"This report has no part called “{part}”; there are: {', '.join(keys)}.")
        text = StringIO()
        write_csv(document.part(part or keys[0]), text, running=running)
        return text.getvalue().encode()
    if running:
        document = replace(document, head=[*document.head, (NOT_OVER, running)])
    out = BytesIO()
    made = f"{saying.moment(now)}{f' by {by}' if by else ''}"
    behind: Annex | None
    if form == "xlsx":
        write_workbook(document, out, made_at=now, made=made, progress=progress)
        return out.getvalue()
    try:
        behind, without = {**annex(document.questions, saying=saying), **document.takes()}, ""
    except TooMany as error:
        behind, without = None, str(error)
    write_pdf(
        document,
        out,
        made=made,
        annex=behind,
        without=without,
        picture=pictured(document),
        progress=progress,
    )
    return out.getvalue()


def running_of(document: Document, *, saying: Saying, now: datetime) -> str:
    """What is said of a report whose newest period is not over at ``now``; empty when it is. A file is read
    when nobody sees the page from which it came."""
    today = now.astimezone(saying.zone).date()
    return running_in_words(document.questions[-1], today, say=saying.day)
