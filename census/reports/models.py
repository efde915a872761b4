"""The columns of the yearly stock list, as the house arranged them. Append-only; the newest row counts."""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person


class StockListColumns(models.Model):
    """One arrangement: which heading each column of the population change stands under."""

    headings = models.JSONField(help_text="Column of the change to heading, every column once.")
    since = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["since", "id"]

    def __str__(self) -> str:
        return f"columns of the stock list since {self.since}"


COLUMNS_TRIGGERS = triggers.append_only("reports_stocklistcolumns")
triggers.declare(*COLUMNS_TRIGGERS)
