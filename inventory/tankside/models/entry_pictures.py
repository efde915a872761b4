"""Photographs that came with entries from devices: a dead animal, an unknown one, a body for the vet."""

from django.db import models

from inventory.book.models import Document
from inventory.db import triggers
from inventory.people.models import Device

from .entries import Entry


class EntryPicture(models.Model):
    """One photograph of an entry that was taken. Append-only: it stays when the entry is undone.

    What is kept is drawn anew, as with the pictures of taxa and lots: no position, no camera.
    """

    identifier = models.UUIDField(unique=True, help_text="Made by the device; the same twice is one picture.")
    content_hash = models.CharField(max_length=64, help_text="SHA-256 of the file as it was sent.")
    entry = models.ForeignKey(
        Entry, on_delete=models.PROTECT, related_name="pictures", help_text="The entry that it goes with."
    )
    document = models.ForeignKey(
        Document, on_delete=models.PROTECT, related_name="+", help_text="The picture as it is kept."
    )
    thumbnail = models.ForeignKey(
        Document, on_delete=models.PROTECT, related_name="+", help_text="The same, small, for lists."
    )
    width = models.PositiveIntegerField(help_text="Of the picture, px.")
    height = models.PositiveIntegerField(help_text="Of the picture, px.")
    device = models.ForeignKey(
        Device, on_delete=models.PROTECT, related_name="+", help_text="The device that sent it."
    )
    received_at = models.DateTimeField(help_text="When it came.")

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["device", "received_at"], name="entry_picture_by_device")]

    def __str__(self) -> str:
        return f"picture {self.identifier}"


ENTRY_PICTURE_TRIGGERS = triggers.append_only("tankside_entrypicture")
triggers.declare(*ENTRY_PICTURE_TRIGGERS)
