"""Sets the picture of a taxon or a lot, or takes it away."""

from datetime import datetime
from pathlib import Path

from django.db import transaction

from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.book.models import Lot
from inventory.names.models import Taxon
from inventory.people.models import Person
from inventory.people.queries import roles_of
from inventory.people.rules.roles import not_allowed

from ..models import Picture
from ..readers.pictures import NoPicture, prepare
from ..who import SETS_PICTURES_OF_LOTS, SETS_PICTURES_OF_TAXA

# Before it is opened at all. The book's own bound is for papers; a photograph is smaller.
LARGEST = 20 * 1024 * 1024


class PictureRefused(Exception):
    """A picture that is not taken; the message says why and what to do."""


@transaction.atomic
def set_picture(
    *, of: Taxon | Lot, name: str, content: bytes, alt: str, credit: str, by: Person, now: datetime
) -> Picture:
    """From now on this is the picture. Raises :class:`PictureRefused`.

    The file itself is not kept: the picture that is made of it tells nothing of where it was taken.
    """
    _allowed(of, by)
    alt, credit = alt.strip(), credit.strip()
    if not alt:
        raise PictureRefused("Say in words what the picture shows, for who cannot see it.")
    if not credit:
        raise PictureRefused("Say who took the picture.")
    if len(content) > LARGEST:
        raise PictureRefused(f"{name!r} is larger than {LARGEST // 1_048_576} MB; make it smaller.")
    stem = Path(name.replace("\\", "/")).stem[:150] or "picture"
    try:
        made = prepare(name, content)
        document = keep_document(name=f"{stem}.jpg", content=made.picture, by=by, now=now)
        thumbnail = keep_document(name=f"{stem}-small.jpg", content=made.thumbnail, by=by, now=now)
    except (NoPicture, DocumentRefused) as refused:
        raise PictureRefused(str(refused)) from refused
    return Picture.objects.create(
        **_subject(of),
        document=document,
        thumbnail=thumbnail,
        width=made.width,
        height=made.height,
        alt=alt,
        credit=credit,
        stated_by=by,
        stated_at=now,
    )


@transaction.atomic
def take_picture_away(*, of: Taxon | Lot, by: Person, now: datetime) -> Picture | None:
    """From now on no picture is shown; the earlier ones stay kept. None: there was none."""
    _allowed(of, by)
    last = Picture.objects.filter(**_subject(of)).last()
    if last is None or last.document_id is None:
        return None
    return Picture.objects.create(**_subject(of), stated_by=by, stated_at=now)


def _subject(of: Taxon | Lot) -> dict[str, Taxon | Lot]:
    return {"lot" if isinstance(of, Lot) else "taxon": of}


def _allowed(of: Taxon | Lot, by: Person) -> None:
    needed = SETS_PICTURES_OF_LOTS if isinstance(of, Lot) else SETS_PICTURES_OF_TAXA
    roles = roles_of(by.user) if by.user else frozenset()
    if why := not_allowed(by.name, roles, needed, "set this picture"):
        raise PictureRefused(f"{why}.")
