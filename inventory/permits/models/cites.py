"""What the yearly report on trade in listed species says of an event of the book."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Event
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import Person

from ..rules.cites import Trade


class TradeFacts(models.Model):
    """How animals of one kind crossed a border, by one event. The newest row of both holds.

    Codes are those of ``fixtures/lists/cites_codes``. ``country`` is the other one, by ISO 3166-1 alpha-2.
    """

    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="trade")
    taxon = models.ForeignKey(Taxon, on_delete=models.PROTECT, related_name="trade")
    trade = models.CharField(max_length=12, choices=[(one.value, one.words) for one in Trade])
    country = models.CharField(max_length=2, blank=True)
    origin = models.CharField(max_length=2, blank=True, help_text="Country of origin, of a re-export.")
    source = models.CharField(max_length=1, blank=True)
    purpose = models.CharField(max_length=1, blank=True)
    term = models.CharField(max_length=3, blank=True)
    unit = models.CharField(max_length=3, blank=True)
    quantity = models.DecimalField(max_digits=12, decimal_places=3, null=True, blank=True)
    papers = models.CharField(max_length=200, blank=True, help_text="Numbers of the permits it went with.")
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["event", "taxon", "id"]
        verbose_name_plural = "trade facts"
        constraints = [
            models.CheckConstraint(
                condition=Q(trade=Trade.NONE.value)
                | ~Q(source="") & ~Q(purpose="") & ~Q(term="") & ~Q(unit="") & Q(quantity__gt=0),
                name="trade_has_its_codes",
            )
        ]

    def __str__(self) -> str:
        return f"{self.event_id}: {self.trade}"


CITES_TRIGGERS = [*triggers.append_only("permits_tradefacts")]
triggers.declare(*CITES_TRIGGERS)
