"""What was taken: a trip, and what was caught on it. A wrong row is replaced by another; both stay.

What was let go or died before it reached the stock never enters the ledger; what was kept enters it
as events of kind ``taken``, to which a take points.
"""

from django.db import models
from django.db.models import F, Q

from inventory.book.models import Event, Lot
from inventory.book.models.cells import Sex
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import Person

from .permits import Permit


class Trip(models.Model):
    """One time out: when, where, with what, by whom. Coordinates are decimal degrees.

    ``permit`` is the one it was made under; a take says its own, for one dive may serve two.
    ``starts_on`` and ``ends_on`` are the days of ``happened``.
    """

    identifier = models.UUIDField(unique=True, help_text="Made by the client; the same twice is one trip.")
    ref = models.CharField(max_length=120, blank=True, help_text="The writer's own name for it.")
    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="trips")
    happened = models.CharField(max_length=60)
    starts_on = models.DateField()
    ends_on = models.DateField()
    locality = models.CharField(max_length=200, blank=True, help_text="The place in words.")
    latitude = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    longitude = models.DecimalField(max_digits=9, decimal_places=6, null=True, blank=True)
    datum = models.CharField(max_length=40, blank=True, default="WGS84")
    uncertainty_m = models.PositiveIntegerField(null=True, blank=True)
    depth_from_m = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    depth_to_m = models.DecimalField(max_digits=6, decimal_places=1, null=True, blank=True)
    gear = models.CharField(max_length=120, blank=True)
    vessel = models.CharField(max_length=80, blank=True)
    note = models.TextField(blank=True)
    device = models.CharField(max_length=60, blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="trips_entered")
    recorded_at = models.DateTimeField()
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )
    why = models.CharField(max_length=300, blank=True, help_text="Why it replaces the one before.")

    class Meta:
        ordering = ["starts_on", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="trip_ends_after_start"),
            models.CheckConstraint(
                condition=Q(latitude__isnull=True, longitude__isnull=True)
                | Q(latitude__range=(-90, 90), longitude__range=(-180, 180)),
                name="trip_is_on_the_globe",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.happened} {self.locality}".strip()


class TripPerson(models.Model):
    """Somebody who was on the trip."""

    trip = models.ForeignKey(Trip, on_delete=models.PROTECT, related_name="people")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="trips")

    class Meta:
        ordering = ["trip", "id"]
        constraints = [models.UniqueConstraint(fields=["trip", "person"], name="trip_person_is_unique")]

    def __str__(self) -> str:
        return f"{self.trip_id}: {self.person_id}"


class Take(models.Model):
    """Animals of one name on one trip. ``caught`` = ``let_go`` + ``died`` + ``kept``, in ``unit``.

    ``unit`` is what the permit counts (pieces); ``into_stock`` is how many the lot got in its own
    unit, where that differs. ``line_number`` is the permit's line that covers it; none: no line does.
    A correction, or a move to another permit, is a row that replaces this one.
    """

    identifier = models.UUIDField(unique=True, help_text="Made by the client; the same twice is one take.")
    ref = models.CharField(max_length=120, blank=True, help_text="The writer's own name for it.")
    trip = models.ForeignKey(Trip, on_delete=models.PROTECT, related_name="takes")
    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="takes")
    line_number = models.PositiveSmallIntegerField(null=True, blank=True)
    taxon = models.ForeignKey(Taxon, null=True, blank=True, on_delete=models.PROTECT, related_name="takes")
    verbatim_identification = models.CharField(max_length=200, help_text="The name as written in the field.")
    identification_qualifier = models.CharField(max_length=100, blank=True)
    caught = models.PositiveIntegerField()
    let_go = models.PositiveIntegerField(default=0)
    died = models.PositiveIntegerField(default=0, help_text="Died before they entered the stock.")
    kept = models.PositiveIntegerField(default=0)
    unit = models.CharField(max_length=40, default="animal")
    into_stock = models.PositiveIntegerField(null=True, blank=True)
    bycatch = models.BooleanField(default=False, help_text="Not what was looked for.")
    sex = models.CharField(max_length=13, choices=Sex, blank=True, help_text="Blank: not stated, or mixed.")
    stage = models.CharField(max_length=20, blank=True)
    size_mm = models.PositiveIntegerField(null=True, blank=True)
    berried = models.BooleanField(null=True, blank=True, help_text="Carries eggs. Blank: nobody looked.")
    lot = models.ForeignKey(Lot, null=True, blank=True, on_delete=models.PROTECT, related_name="takes")
    remarks = models.TextField(blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="takes_entered")
    recorded_at = models.DateTimeField()
    replaces = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by"
    )
    why = models.CharField(max_length=300, blank=True, help_text="Why it replaces the one before.")

    class Meta:
        ordering = ["trip", "id"]
        indexes = [models.Index(fields=["permit", "line_number"], name="take_by_line")]
        constraints = [
            models.CheckConstraint(
                condition=Q(caught=F("let_go") + F("died") + F("kept")), name="take_adds_up"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.caught} {self.verbatim_identification}"


class TakeEvent(models.Model):
    """A ``taken`` event that brought what was kept into the stock."""

    take = models.ForeignKey(Take, on_delete=models.PROTECT, related_name="events")
    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="takes")

    class Meta:
        ordering = ["take", "id"]
        constraints = [models.UniqueConstraint(fields=["take", "event"], name="take_event_is_unique")]

    def __str__(self) -> str:
        return f"{self.take_id}: {self.event_id}"


TAKE_TRIGGERS = [
    trigger
    for table in ("trip", "tripperson", "take", "takeevent")
    for trigger in triggers.append_only(f"permits_{table}")
]
triggers.declare(*TAKE_TRIGGERS)
