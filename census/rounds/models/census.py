"""A census of a period: from planned to closed."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Period, PeriodVersion
from inventory.people.models import Person

from ..rules.words import CensusState

EVERY_CLASS = "ABCD"


class Census(models.Model):
    """One count of the whole house for one period."""

    code = models.CharField(max_length=20, unique=True, help_text="CS-26Q3")
    period = models.ForeignKey(Period, on_delete=models.PROTECT, related_name="censuses")
    cutoff = models.DateTimeField(help_text="The first moment after the period's last day.")
    classes = models.CharField(
        max_length=4, default="ABCD", help_text="The count classes that this census counts."
    )
    state = models.CharField(
        max_length=24, choices=[(s.value, s.value) for s in CensusState], default=CensusState.PLANNED.value
    )
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="censuses_opened")
    compared_at = models.DateTimeField(
        null=True, blank=True, help_text="When the counts were first put beside the book; kept for ever."
    )
    version = models.OneToOneField(
        PeriodVersion,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="census",
        help_text="The newest closing that this census was signed for.",
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ["-cutoff", "code"]
        verbose_name_plural = "censuses"
        constraints = [
            models.UniqueConstraint(
                fields=["period"],
                condition=~Q(state=CensusState.ABANDONED.value),
                name="census_one_per_period",
            )
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def left_out(self) -> str:
        """The classes that this census does not count, with commas; empty when it counts all."""
        return ", ".join(one for one in EVERY_CLASS if one not in self.classes)
