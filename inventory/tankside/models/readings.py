"""What was measured in a tank's water, and which range the house wants there."""

from django.db import models
from django.db.models import F, Q

from inventory.book.models import Place
from inventory.db import triggers
from inventory.people.models import Person

from ..rules.readings import DECIMAL_PLACES, MAX_DIGITS, QUANTITIES

_QUANTITIES = [(quantity.code, quantity.words) for quantity in QUANTITIES]


class Reading(models.Model):
    """One measurement, kept in the unit in which it was stated. Append-only.

    A wrong one is replaced by another that names it; both stay readable. A probe writes under its
    device's name, a person under their own.
    """

    identifier = models.UUIDField(unique=True, help_text="Made by the client; the same twice is one reading.")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="readings")
    quantity = models.CharField(max_length=20, choices=_QUANTITIES)
    value = models.DecimalField(max_digits=MAX_DIGITS, decimal_places=DECIMAL_PLACES)
    unit = models.CharField(max_length=10)
    taken_at = models.DateTimeField()
    entered_at = models.DateTimeField(help_text="When it was saved, at the tank or on a page.")
    recorded_at = models.DateTimeField(help_text="When it came here.")
    by = models.ForeignKey(
        Person, null=True, blank=True, on_delete=models.PROTECT, related_name="readings_taken"
    )
    device = models.CharField(max_length=60, blank=True)
    note = models.CharField(max_length=500, blank=True)
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )

    class Meta:
        ordering = ["taken_at", "id"]
        indexes = [
            models.Index(fields=["place", "taken_at"], name="reading_of_place"),
            models.Index(fields=["place", "quantity", "unit", "taken_at"], name="reading_newest_of_place"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(by__isnull=False) | ~Q(device=""), name="reading_has_a_person_or_a_device"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity} {self.value} {self.unit}"


class WantedRange(models.Model):
    """The range that the house wants in a place from a day on; the newest day holds. Append-only.

    It holds for the places below, unless they have one of their own. Both bounds blank: no range
    from that day on.
    """

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="wanted_ranges")
    quantity = models.CharField(max_length=20, choices=_QUANTITIES)
    unit = models.CharField(max_length=10)
    low = models.DecimalField(max_digits=MAX_DIGITS, decimal_places=DECIMAL_PLACES, null=True, blank=True)
    high = models.DecimalField(max_digits=MAX_DIGITS, decimal_places=DECIMAL_PLACES, null=True, blank=True)
    since = models.DateField()
    set_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["place", "quantity", "since", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(low__lte=F("high")),
                name="wanted_range_low_is_below_high",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place_id} {self.quantity} {self.low} to {self.high} {self.unit}"


READING_TRIGGERS = [
    *triggers.append_only("tankside_reading"),
    *triggers.append_only("tankside_wantedrange"),
]
triggers.declare(*READING_TRIGGERS)
