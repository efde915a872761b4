"""The paper itself, kept: scans and photographs of a sheet as it came back. Append-only."""

from django.db import models

from inventory.book.models import Document
from inventory.db import triggers
from inventory.people.models import Person

from .sheets import Sheet


class Scan(models.Model):
    """One file of a sheet's paper. ``number``: in which order they came; a PDF may have several pages."""

    sheet = models.ForeignKey(Sheet, on_delete=models.PROTECT, related_name="scans")
    number = models.PositiveSmallIntegerField()
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="+")
    added_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="scans_added")
    added_at = models.DateTimeField()

    class Meta:
        ordering = ["sheet", "number"]
        constraints = [
            models.UniqueConstraint(fields=["sheet", "number"], name="scan_number_is_unique"),
            models.UniqueConstraint(fields=["sheet", "document"], name="scan_once"),
        ]

    def __str__(self) -> str:
        return f"{self.sheet}, scan {self.number}"


SCAN_TRIGGERS = [*triggers.append_only("rounds_scan")]
triggers.declare(*SCAN_TRIGGERS)
