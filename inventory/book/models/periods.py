"""Quarters and years, their closings, and the balances kept at each closing."""

from django.db import models
from django.db.models import F, Q

from inventory.db import triggers
from inventory.people.models import Person

from .cells import Cell


class Period(models.Model):
    """A quarter or a year, first day to last day, both inside, in the house's zone."""

    code = models.CharField(max_length=12, unique=True, help_text="2026 Q3, or 2026")
    starts_on = models.DateField()
    ends_on = models.DateField()

    class Meta:
        ordering = ["starts_on", "ends_on"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="period_ends_after_start")
        ]

    def __str__(self) -> str:
        return self.code


class PeriodVersion(models.Model):
    """One closing of a period. A restatement is the next version; versions are never edited."""

    period = models.ForeignKey(Period, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    closed_at = models.DateTimeField()
    signed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="periods_signed")
    boundary = models.DateTimeField(
        help_text="The first moment after the period's last day, as it was when this was closed."
    )
    note = models.CharField(max_length=300, blank=True)
    fingerprint = models.CharField(max_length=64, help_text="SHA-256 of the closing balances.")

    class Meta:
        ordering = ["period", "number"]
        constraints = [models.UniqueConstraint(fields=["period", "number"], name="period_version_is_unique")]

    def __str__(self) -> str:
        return f"{self.period} version {self.number}"


class PeriodBalance(models.Model):
    """Snapshot: what one cell held at the period's end, as known at the closing. Zeros are left out."""

    version = models.ForeignKey(PeriodVersion, on_delete=models.PROTECT, related_name="balances")
    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="+")
    n = models.IntegerField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["version", "cell"], name="period_balance_is_unique")]

    def __str__(self) -> str:
        return f"{self.version_id}/{self.cell_id}: {self.n}"


class VersionStatement(models.Model):
    """One paper of a closing, byte for byte as it was made then: it can be printed again for ever.

    The paper called ``contents`` lists the hashes of all others and of what they were made from;
    its own hash is the fingerprint of everything in the version.
    """

    version = models.ForeignKey(PeriodVersion, on_delete=models.PROTECT, related_name="statements")
    name = models.CharField(max_length=60)
    media_type = models.CharField(max_length=100)
    content = models.BinaryField()
    sha256 = models.CharField(max_length=64)

    class Meta:
        ordering = ["version", "id"]
        constraints = [
            models.UniqueConstraint(fields=["version", "name"], name="version_statement_is_unique")
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.version_id}"


PERIOD_TRIGGERS = [
    *triggers.append_only("book_periodversion"),
    *triggers.append_only("book_periodbalance"),
]
STATEMENT_TRIGGERS = triggers.append_only("book_versionstatement")
triggers.declare(*PERIOD_TRIGGERS, *STATEMENT_TRIGGERS)
