"""Animals whose owner and holder are two: lent by us, or lent to us."""

from django.db import models
from django.db.models import F, Q

from inventory.book.models import Document, Event, Lot
from inventory.db import triggers
from inventory.people.models import Person


class Direction(models.TextChoices):
    OUT = "out", "lent by us"
    IN = "in", "lent to us"


class Loan(models.Model):
    """One agreement. ``lender_share_top`` / ``lender_share_bottom`` of the young that reach day
    ``young_from_day`` belong to the lender; 0 / 1: none do, 1 / 1: all."""

    reference = models.CharField(max_length=40, unique=True)
    direction = models.CharField(max_length=3, choices=Direction)
    party = models.CharField(max_length=120, help_text="The other house.")
    agreement = models.CharField(max_length=300, blank=True, help_text="In its own words.")
    starts_on = models.DateField()
    until = models.DateField(null=True, blank=True, help_text="Last day, inside; blank: open.")
    confirm_every_months = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="The holder confirms by letter so often."
    )
    young_words = models.CharField(max_length=200, blank=True)
    lender_share_top = models.PositiveSmallIntegerField(default=0)
    lender_share_bottom = models.PositiveSmallIntegerField(default=1)
    young_from_day = models.PositiveSmallIntegerField(
        default=30, help_text="Young are shared on this day after birth."
    )
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="loans_entered")
    ended_on = models.DateField(null=True, blank=True, help_text="All is back, or settled otherwise.")
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["starts_on", "reference"]
        constraints = [
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gte=F("starts_on")), name="loan_ends_after_start"
            ),
            models.CheckConstraint(
                condition=Q(lender_share_bottom__gte=1, lender_share_top__lte=F("lender_share_bottom")),
                name="loan_share_is_a_share",
            ),
        ]

    def __str__(self) -> str:
        return self.reference


class LoanLot(models.Model):
    """A lot under an agreement: lent itself, or young of such animals (``born_on``)."""

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="lots")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="loans")
    young = models.BooleanField(default=False)
    born_on = models.DateField(null=True, blank=True)
    added_at = models.DateTimeField()
    added_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["loan", "id"]
        constraints = [
            models.UniqueConstraint(fields=["loan", "lot"], name="loan_lot_is_unique"),
            models.CheckConstraint(
                condition=Q(young=False) | Q(born_on__isnull=False), name="loan_young_have_a_birthday"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.loan_id}: {self.lot_id}"


class LoanConfirmation(models.Model):
    """A letter of the holder: what is there. Events that it told of (a death) are linked."""

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="confirmations")
    letter_of = models.DateField(help_text="The day of the letter.")
    words = models.TextField(blank=True)
    document = models.ForeignKey(
        Document, null=True, blank=True, on_delete=models.PROTECT, related_name="loan_confirmations"
    )
    events = models.ManyToManyField(Event, blank=True, related_name="told_by_letter")
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["loan", "letter_of", "id"]

    def __str__(self) -> str:
        return f"{self.loan_id}: letter of {self.letter_of}"


class LoanExtension(models.Model):
    """The agreement goes on until another day."""

    loan = models.ForeignKey(Loan, on_delete=models.PROTECT, related_name="extensions")
    until = models.DateField()
    why = models.CharField(max_length=300, blank=True)
    document = models.ForeignKey(
        Document, null=True, blank=True, on_delete=models.PROTECT, related_name="loan_extensions"
    )
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["loan", "id"]

    def __str__(self) -> str:
        return f"{self.loan_id} until {self.until}"


LOAN_TRIGGERS = [
    # Only its end moves on.
    *triggers.append_only(
        "permits_loan",
        columns=[
            *("reference", "direction", "party", "agreement", "starts_on", "until", "confirm_every_months"),
            *("young_words", "lender_share_top", "lender_share_bottom", "young_from_day"),
            *("entered_at", "entered_by_id"),
        ],
    ),
    *(
        trigger
        for table in ("loanlot", "loanconfirmation", "loanconfirmation_events", "loanextension")
        for trigger in triggers.append_only(f"permits_{table}")
    ),
]
triggers.declare(*LOAN_TRIGGERS)
