"""What a house expected: written down before it came, so that it can be held against what came."""

from django.db import models
from django.db.models import F, Q

from inventory.db import triggers
from inventory.names.models import Taxon


class Expectation(models.Model):
    """The range of one taxon's closing number for one quarter, as foreseen on a day. Append-only.

    The first one of a taxon and quarter is the one that is scored. ``fingerprint`` is the SHA-256 of what
    it was made from, ``inputs`` that itself: opening and earlier quarters. Animals on the premises.
    """

    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="+")
    quarter_starts_on = models.DateField()
    quarter_ends_on = models.DateField()
    opening = models.IntegerField()
    low = models.IntegerField()
    middle = models.IntegerField()
    high = models.IntegerField()
    inputs = models.JSONField(help_text="Opening, and opening, born and died of each earlier quarter.")
    fingerprint = models.CharField(max_length=64)
    known_at = models.DateTimeField(help_text="Made from what had been entered by then.")
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["quarter_starts_on", "taxon", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["taxon", "quarter_starts_on", "fingerprint"], name="expectation_is_unique"
            ),
            models.CheckConstraint(
                condition=Q(low__lte=F("middle")) & Q(middle__lte=F("high")), name="expectation_in_order"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.taxon_id} by {self.quarter_ends_on}: {self.low} to {self.high}"


EXPECTATION_TRIGGERS = triggers.append_only("population_expectation")
triggers.declare(*EXPECTATION_TRIGGERS)
