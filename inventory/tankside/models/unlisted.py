"""What the registrar said an animal on no list is, and that the permit officer has seen it. Append-only."""

from django.db import models
from django.db.models import Q

from inventory.book.rules.found_as import FoundAs
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import Person

from .entries import Entry


class UnlistedFinding(models.Model):
    """One answer. The book does not change by it; one that was wrong stays, and a later one replaces it."""

    entry = models.ForeignKey(
        Entry, on_delete=models.PROTECT, related_name="findings", help_text="The entry that told of it."
    )
    found_as = models.CharField(
        max_length=12,
        choices=[(one.value, one.words) for one in FoundAs],
        help_text="What it was found to be.",
    )
    name = models.CharField(max_length=200, help_text="Its name, as the registrar wrote it.")
    taxon = models.ForeignKey(
        Taxon,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="The kind of the house that bears the name; empty: none does.",
    )
    note = models.CharField(max_length=300, help_text="How it is known, and what was done.")
    for_permit_officer = models.BooleanField(
        default=False,
        help_text="An introduced species, or the word that it is none after all; waits until it was seen.",
    )
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )
    found_by = models.ForeignKey(
        Person, on_delete=models.PROTECT, related_name="+", help_text="The person who said it."
    )
    found_at = models.DateTimeField(help_text="When it was said.")

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(
                fields=["entry"], condition=Q(replaces=None), name="unlisted_finding_one_first"
            ),
            models.CheckConstraint(condition=~Q(name="") & ~Q(note=""), name="unlisted_finding_in_words"),
        ]

    def __str__(self) -> str:
        return f"{self.name}: {self.get_found_as_display()}"

    @property
    def what(self) -> FoundAs:
        return FoundAs(self.found_as)


class FindingSeen(models.Model):
    """The permit officer has seen an answer. The first name stays."""

    finding = models.OneToOneField(
        UnlistedFinding, on_delete=models.PROTECT, related_name="seen", help_text="The answer that was seen."
    )
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.finding_id}: seen"


UNLISTED_TRIGGERS = [
    *triggers.append_only("tankside_unlistedfinding"),
    *triggers.append_only("tankside_findingseen"),
]
triggers.declare(*UNLISTED_TRIGGERS)
