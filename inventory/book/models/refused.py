"""What somebody tried to enter and the book did not take: nothing that was said is lost. Append-only."""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person


class Door(models.TextChoices):
    PAGE = "page", "a page of the book"
    LOAD = "load", "a load of spreadsheets"


class RefusedEntry(models.Model):
    """One refusal, written after what it refused was taken back. The tank side keeps its own entries."""

    at = models.DateTimeField(help_text="When it was tried and refused.")
    by = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="refused_entries",
        help_text="Who tried; empty: the name of a load that nobody in the book bears.",
    )
    by_name = models.CharField(max_length=120, help_text="The name as it was then.")
    door = models.CharField(max_length=8, choices=Door, help_text="Through which door it came.")
    what = models.CharField(max_length=200, help_text="What was tried, in few words.")
    said = models.JSONField(help_text="What was said, as it was typed or sent.")
    why = models.TextField(help_text="Why it was refused, as it was told to who tried.")

    class Meta:
        ordering = ["at", "id"]
        verbose_name_plural = "refused entries"

    def __str__(self) -> str:
        return f"{self.what}: {self.why}"


class RefusedAbout(models.Model):
    """What a refused entry was about, as it was typed: it may name what does not exist."""

    refused = models.ForeignKey(
        RefusedEntry, on_delete=models.PROTECT, related_name="about", help_text="The refused entry."
    )
    kind = models.CharField(max_length=8, help_text="lot, place or permit")
    key = models.CharField(
        max_length=60, help_text="Accession number, code of the place, number of the permit."
    )

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["kind", "key"], name="refused_about")]

    def __str__(self) -> str:
        return f"{self.kind} {self.key}"


REFUSED_TRIGGERS = [
    *triggers.append_only("book_refusedentry"),
    *triggers.append_only("book_refusedabout"),
]
triggers.declare(*REFUSED_TRIGGERS)
