"""Attaches the paper of a sheet, scanned or photographed, to the sheet."""

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.db.models import Max

from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.book.models import Document
from inventory.people.models import Person

from ..models import Scan, Sheet
from ..rules.who import TYPES_LETTERS
from ..rules.words import SheetState
from .allowed import require
from .refused import CensusRefused

PICTURES = ("application/pdf", "image/png", "image/jpeg", "image/heic", "image/webp")
"""A scan is a picture of the paper, or a PDF of several pages."""


@transaction.atomic
def attach_scans(
    *, sheet: Sheet, files: Sequence[tuple[str, bytes]], by: Person, now: datetime
) -> tuple[Scan, ...]:
    """Keeps ``files`` (name, content) in their order behind those that the sheet has; gives the new ones.

    All or none is attached. A file that the sheet has already stays where it is. The state of the sheet does
    not matter, once it was issued: also a lost sheet that is found again is kept.
    Raises :class:`CensusRefused`.
    """
    require(by, TYPES_LETTERS, "attach a scan to a sheet")
    if sheet.state == SheetState.NOT_ISSUED:
        raise CensusRefused(f"The sheet {sheet.number} has not been issued; there is no paper of it yet.")
    if not files:
        raise CensusRefused("Choose at least one file: a PDF, or photographs of the pages.")
    documents, problems = [], []
    for name, content in files:
        try:
            document = keep_document(name=name, content=content, by=by, now=now)
        except DocumentRefused as refused:
            problems.append(str(refused))
            continue
        if document.media_type not in PICTURES:
            problems.append(
                f"{document.name!r} is no picture of the paper; choose a PDF, PNG, JPEG, HEIC or WebP."
            )
        documents.append(document)
    if problems:
        raise CensusRefused(*problems)
    return _attach(sheet, documents, by, now)


@transaction.atomic
def _attach(sheet: Sheet, documents: Sequence[Document], by: Person, now: datetime) -> tuple[Scan, ...]:
    held = Sheet.objects.select_for_update().get(pk=sheet.pk)
    scans = Scan.objects.filter(sheet=held)
    there = set(scans.values_list("document_id", flat=True))
    last = scans.aggregate(last=Max("number"))["last"] or 0
    new = [document for document in dict.fromkeys(documents) if document.pk not in there]
    made = Scan.objects.bulk_create(
        Scan(sheet=held, number=last + place, document=document, added_by=by, added_at=now)
        for place, document in enumerate(new, start=1)
    )
    return tuple(made)
