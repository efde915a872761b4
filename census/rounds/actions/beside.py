"""What is said beside counts: second typings, missing second names, moves in quiet time, pictures."""

from datetime import datetime

from django.db import transaction

from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.book.models import Event
from inventory.people.models import Person

from ..models import Census, Count, Line, LinePicture, NoSecondName, QuietMove, Retyping, Sheet
from ..rules.who import COUNTS, DECIDES
from ..rules.words import SecondName
from ..rules.written import read_box
from .allowed import require
from .moving import running
from .refused import CensusRefused


@transaction.atomic
def retype(*, count: Count, text: str, by: Person, now: datetime) -> Retyping:
    """Types once more what the paper says. Whether both agree is kept; a wrong typing is corrected
    on the sheet, as a count that replaces the first. Another person than the first typist.
    """
    require(by, COUNTS, "type a sheet")
    held = Count.objects.select_related("line__sheet__census", "typed_by").get(pk=count.pk)
    running(held.line.sheet.census)
    if held.typed_by_id == by.pk:
        raise CensusRefused(f"{by.name} typed {held.line} the first time; another person types it again.")
    if Count.objects.filter(replaces=held).exists():
        raise CensusRefused(f"{held.line} has been typed over since.")
    try:
        written = read_box(text, presence=True)
    except ValueError as error:
        raise CensusRefused(f"{held.line}: {error}") from error
    if written.blank:
        raise CensusRefused(f"{held.line}: type what the paper says; zero is a number.")
    same = (written.value, written.at_least, written.letter) == (held.value, held.at_least, held.letter)
    return Retyping.objects.create(count=held, text=text.strip()[:40], agrees=same, typed_by=by, typed_at=now)


@transaction.atomic
def state_no_second(
    *,
    census: Census,
    task: SecondName,
    why: str,
    by: Person,
    now: datetime,
    sheet: Sheet | None = None,
    line: Line | None = None,
) -> NoSecondName:
    """Says that nobody else was at hand for ``task``; what is signed states it."""
    require(by, DECIDES, "say that no second name was at hand")
    census = running(census)
    if not why.strip():
        raise CensusRefused("Say why no second person was at hand.")
    if line is not None and line.sheet.census_id != census.pk:
        raise CensusRefused(f"{line} belongs to another census.")
    made, _ = NoSecondName.objects.get_or_create(
        census=census,
        task=task.value,
        sheet=sheet,
        line=line,
        why=why.strip()[:300],
        defaults={"stated_by": by, "stated_at": now},
    )
    return made


@transaction.atomic
def say_of_quiet_move(
    *, sheet: Sheet, event: Event, on_both_sheets: bool, by: Person, now: datetime, note: str = ""
) -> QuietMove:
    """Says whether a move in the quiet time was written on both sheets; the newest word counts."""
    require(by, (*COUNTS,), "say what was written on a sheet")
    running(sheet.census)
    return QuietMove.objects.create(
        sheet=sheet,
        event=event,
        on_both_sheets=on_both_sheets,
        note=note[:300],
        said_by=by,
        said_at=now,
    )


@transaction.atomic
def add_picture(*, line: Line, name: str, content: bytes, by: Person, now: datetime) -> LinePicture:
    """Keeps a picture with its line; the same picture again changes nothing."""
    require(by, COUNTS, "add a picture")
    running(line.sheet.census)
    try:
        document = keep_document(name=name, content=content, by=by, now=now)
    except DocumentRefused as refused:
        raise CensusRefused(str(refused)) from refused
    if not document.media_type.startswith("image/"):
        raise CensusRefused(f"{name!r} is no picture (PNG, JPEG, HEIC or WebP).")
    made, _ = LinePicture.objects.get_or_create(
        line=line, document=document, defaults={"added_by": by, "added_at": now}
    )
    return made
