"""Keeps a photograph that a device sends with an entry: once, and never so that the entry waits for it."""

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.people.models import Device

from ..models import Entry, EntryPicture, Outcome
from ..readers.pictures import NoPicture, prepare

# A device draws its pictures at 1600 px; such a JPEG of a grainy scene has 2 MiB.
LARGEST_MB = 4
LARGEST = LARGEST_MB * 1024 * 1024
MOST_OF_AN_ENTRY = 3
# A device that fills the disk is stopped for the day; its pictures wait on it.
MOST_A_DAY = 200


class NoEntry(Exception):
    """No entry with this identifier was taken yet: the device keeps the picture and sends it later."""


class TooMany(Exception):
    """The device has sent as many pictures as are taken in a day; the message says so."""


class PictureComesBack(Exception):
    """A picture that is not taken; the message says why and what to do."""


@dataclass(frozen=True, slots=True)
class TakenPicture:
    """The picture that is kept; ``already``: it was before."""

    picture: EntryPicture
    already: bool


def take_entry_picture(
    *, entry: UUID, identifier: UUID, content: bytes, device: Device, now: datetime
) -> TakenPicture:
    """Keeps ``content`` with the entry; the same again is the same picture.

    Raises :class:`NoEntry`, :class:`TooMany` or :class:`PictureComesBack`.
    """
    content_hash = hashlib.sha256(content).hexdigest()
    before = EntryPicture.objects.select_related("entry").filter(identifier=identifier).first()
    if before is not None:
        return _again(before, entry, content_hash)
    of = Entry.objects.select_related("person").filter(identifier=entry, outcome=Outcome.SENT).first()
    if of is None:
        raise NoEntry("No entry with this identifier was taken yet: send it first, then its pictures.")
    if of.person is None:
        raise PictureComesBack("A sensor's reading takes no picture.")
    if of.pictures.count() >= MOST_OF_AN_ENTRY:
        raise PictureComesBack(
            f"The entry has {MOST_OF_AN_ENTRY} pictures, and more are not kept with one entry. "
            "Write a note at the tank and add it there."
        )
    sent = EntryPicture.objects.filter(device=device, received_at__gt=now - timedelta(days=1)).count()
    if sent >= MOST_A_DAY:
        raise TooMany(f"{device.name} has sent {sent} pictures in 24 hours: the others wait until tomorrow.")
    if not content:
        raise PictureComesBack("The picture is empty: take it again.")
    if len(content) > LARGEST:
        raise PictureComesBack(f"The picture is larger than {LARGEST_MB} MB: make it smaller.")
    try:
        # Opened before anything is locked, for it takes as long as many entries.
        made = prepare("picture", content)
        with transaction.atomic():
            name = f"entry-{identifier}"
            by = of.person
            document = keep_document(name=f"{name}.jpg", content=made.picture, by=by, now=now)
            thumbnail = keep_document(name=f"{name}-small.jpg", content=made.thumbnail, by=by, now=now)
            picture, is_new = EntryPicture.objects.select_related("entry").get_or_create(
                identifier=identifier,
                defaults={
                    "content_hash": content_hash,
                    "entry": of,
                    "document": document,
                    "thumbnail": thumbnail,
                    "width": made.width,
                    "height": made.height,
                    "device": device,
                    "received_at": now,
                },
            )
    except (NoPicture, DocumentRefused) as refused:
        raise PictureComesBack(f"{refused} The entry itself is in the book.") from refused
    # Two tabs that sent it at the same moment both come here; the second finds what the first kept.
    return TakenPicture(picture, already=False) if is_new else _again(picture, entry, content_hash)


def _again(before: EntryPicture, entry: UUID, content_hash: str) -> TakenPicture:
    if before.content_hash != content_hash or before.entry.identifier != entry:
        raise PictureComesBack("This identifier is in use for another picture: send it under a new one.")
    return TakenPicture(before, already=True)
