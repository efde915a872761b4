"""How a line was settled, by whom, on what evidence. Append-only; the newest decision counts."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Event
from inventory.db import triggers
from inventory.people.models import Person

from ..rules.words import How
from .sheets import Line


class Decision(models.Model):
    """One decision about one line.

    It holds while the book at the line's count moment is still ``book`` and the latest count still
    ``counted`` (sums, when the line belongs to a joined set); otherwise the line is open again.
    """

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="decisions")
    how = models.CharField(max_length=16, choices=[(h.value, h.words) for h in How])
    reason = models.CharField(max_length=60, blank=True)
    reason_group = models.CharField(max_length=10, blank=True)
    n = models.IntegerField(default=0, help_text="Change of the book by this decision, with its sign.")
    stated = models.CharField(max_length=64, help_text="SHA-256 of what was asked: the same is decided once.")
    book = models.IntegerField(
        null=True, help_text="The book at the count moment, with this decision posted."
    )
    counted = models.IntegerField(null=True, help_text="The latest count when this was decided.")
    events = models.ManyToManyField(Event, blank=True, related_name="+")
    decided_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="decisions_made")
    decided_at = models.DateTimeField()
    approved_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="decisions_approved"
    )
    countersigned_by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="decisions_countersigned"
    )
    evidence = models.CharField(max_length=300, blank=True)
    note = models.TextField(blank=True)
    owner = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="queries_owned"
    )
    due_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(how=How.OPEN_QUERY.value) | Q(owner__isnull=False, due_on__isnull=False),
                name="open_query_has_owner_and_day",
            ),
            models.CheckConstraint(
                condition=~Q(how=How.ADJUSTMENT.value) | ~Q(reason=""), name="adjustment_has_a_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.line}: {self.how}"


DECISION_TRIGGERS = [
    *triggers.append_only("rounds_decision"),
    *triggers.append_only("rounds_decision_events"),
]
triggers.declare(*DECISION_TRIGGERS)
