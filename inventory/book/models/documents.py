"""Papers that prove something: a scanned sheet, a permit, a letter, a picture. Kept as they came."""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person


class Document(models.Model):
    """One file, named by the hash of what it holds: the same file twice is one document."""

    sha256 = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=200, help_text="As the file was called when it came.")
    media_type = models.CharField(max_length=100, help_text="Found by looking at the content.")
    size = models.PositiveBigIntegerField(help_text="bytes")
    kept_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="documents_kept")
    kept_at = models.DateTimeField()

    class Meta:
        ordering = ["kept_at", "id"]

    def __str__(self) -> str:
        return self.name


DOCUMENT_TRIGGERS = triggers.append_only("book_document")
triggers.declare(*DOCUMENT_TRIGGERS)
