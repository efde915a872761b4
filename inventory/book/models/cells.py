"""The smallest box of the book: a lot in one account, of one sex, stage and standing."""

from django.db import models
from django.db.models import Q

from inventory.db import triggers

from .accounts import Account
from .lots import Lot


class Sex(models.TextChoices):
    MALE = "male", "male"
    FEMALE = "female", "female"
    HERMAPHRODITE = "hermaphrodite", "hermaphrodite"
    UNKNOWN = "unknown", "unknown"


class Standing(models.TextChoices):
    PRESENT = "present", "present"
    MISSING = "missing", "missing"


class Cell(models.Model):
    """One lot in one account, of one sex, stage and standing.

    ``balance`` is a cache: the sum of flows in minus flows out, kept by a trigger.
    """

    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="cells")
    account = models.ForeignKey(Account, on_delete=models.PROTECT, related_name="cells")
    sex = models.CharField(max_length=13, choices=Sex)
    stage = models.CharField(max_length=20, blank=True)
    standing = models.CharField(max_length=7, choices=Standing, default=Standing.PRESENT)
    inside = models.BooleanField(help_text="The account is a place, not an outside cause.")
    capped = models.BooleanField(help_text="Inside, and the lot is an individual: 0 or 1.")
    balance = models.IntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["lot", "account", "sex", "stage", "standing"], name="cell_is_unique"
            ),
            models.CheckConstraint(
                condition=Q(capped=False) | Q(balance__gte=0, balance__lte=1),
                name="cell_individual_is_one_or_none",
            ),
        ]
        indexes = [
            models.Index(fields=["account", "lot"]),
            models.Index(fields=["lot"], condition=Q(inside=True, balance__lt=0), name="cell_below_zero"),
            # What is held now, place by place, out of the index alone.
            models.Index(
                fields=["account", "lot", "balance", "standing"],
                condition=Q(inside=True) & ~Q(balance=0),
                name="cell_holding",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id}/{self.account_id}/{self.sex}/{self.stage}/{self.standing}"


# What a cell is may never change, for the flows that name it would change their meaning.
CELL_TRIGGERS = triggers.append_only(
    "book_cell",
    columns=["lot_id", "account_id", "sex", "stage", "standing", "inside", "capped"],
)
triggers.declare(*CELL_TRIGGERS)
