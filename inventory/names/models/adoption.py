"""Releases taken into use, what each changed, and lots that went from one taxon to another."""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person

from ..rules.compare import Consequence
from .backbone import BackboneRelease
from .checks import NameCheck
from .taxon import Taxon


class ReleaseAdoption(models.Model):
    """One release taken into use. Append-only; a release may be taken up again later."""

    release = models.ForeignKey(BackboneRelease, on_delete=models.PROTECT, related_name="adoptions")
    from_release = models.ForeignKey(
        BackboneRelease, null=True, blank=True, on_delete=models.PROTECT, related_name="left_by"
    )
    by = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="releases_adopted",
        help_text="Blank: it came into use by itself, for it changed no name in use.",
    )
    at = models.DateTimeField()
    counts = models.JSONField(default=dict, help_text="Changes by consequence.")

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.release} in use"

    @property
    def counts_in_words(self) -> str:
        """ "2 renamed, 1 split"; "none" when no name changed."""
        words = (f"{n} {consequence.replace('_', ' ')}" for consequence, n in self.counts.items())
        return ", ".join(words) or "none"


class AdoptedChange(models.Model):
    """What one adoption did to one taxon, or asked of it. Append-only.

    ``before`` and ``after`` hold name, authorship, rank and classification of the taxon; ``lots``
    the accession numbers concerned where it is not all of the taxon's.
    """

    adoption = models.ForeignKey(ReleaseAdoption, on_delete=models.PROTECT, related_name="changes")
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="adopted_changes")
    consequence = models.CharField(max_length=20, choices=[(one.value, one.words) for one in Consequence])
    before = models.JSONField()
    after = models.JSONField()
    why = models.TextField(blank=True)
    n_lots = models.PositiveIntegerField(default=0)
    n_held = models.IntegerField(default=0, help_text="Animals at that moment, as known then.")
    permits = models.JSONField(default=list)
    lots = models.JSONField(default=list)
    check_of = models.ForeignKey(
        NameCheck,
        on_delete=models.PROTECT,
        related_name="adopted_changes",
        help_text="The row of the queue that records the decision, or waits for it.",
    )

    class Meta:
        ordering = ["adoption", "id"]

    def __str__(self) -> str:
        return f"{self.taxon}: {self.consequence}"


class MovedLot(models.Model):
    """A lot that stood under one taxon until a moment, and under another from then on. Append-only.

    The lot is named by its accession number, for the book builds on names and not the other way.
    """

    accession = models.CharField(max_length=40)
    from_taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="lots_given")
    to_taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="lots_taken")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "id"]
        indexes = [models.Index(fields=["at"], name="moved_lot_at")]

    def __str__(self) -> str:
        return f"{self.accession} to {self.to_taxon}"


ADOPTION_TRIGGERS = [
    *triggers.append_only("names_releaseadoption"),
    *triggers.append_only("names_adoptedchange"),
    *triggers.append_only("names_movedlot"),
]
triggers.declare(*ADOPTION_TRIGGERS)
