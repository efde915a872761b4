"""Statements of stock that a permit wants each quarter or year: which went out, and when.

What has to be sent is no row: it follows from the permit. The statement itself is the permit's page as of
that day, which the ledger gives again at any time.
"""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person

from .permits import Permit


class StatementSent(models.Model):
    """The statement of what was held at the end of ``as_of`` went to the authority."""

    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="statements_sent")
    as_of = models.DateField(help_text="The last day of the quarter or year that it tells of.")
    sent_on = models.DateField()
    how = models.CharField(max_length=120, help_text="By letter, by e-mail, on the authority's page.")
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["permit", "as_of", "id"]
        verbose_name_plural = "statements sent"

    def __str__(self) -> str:
        return f"{self.permit_id}: stock at the end of {self.as_of}"


STATEMENT_TRIGGERS = triggers.append_only("permits_statementsent")
triggers.declare(*STATEMENT_TRIGGERS)
