"""How long animals stay apart: least days by group, and what the veterinarian signed."""

from django.db import models
from django.db.models import Q

from inventory.book.models import Event, Lot, Place
from inventory.db import triggers
from inventory.people.models import Person


class QuarantineRule(models.Model):
    """Least days in quarantine for a group of animals, from a day on. Append-only; the newest holds.

    ``group`` is a name of the classification (Elasmobranchii), or a species; blank: all others. The
    days are the veterinarian's; none are in the code.
    """

    group = models.CharField(max_length=100, blank=True)
    min_days = models.PositiveSmallIntegerField()
    since = models.DateField(help_text="Moves out from this day on are held against it.")
    source = models.CharField(max_length=300, help_text="On what it rests.")
    set_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()

    class Meta:
        ordering = ["group", "since", "id"]

    def __str__(self) -> str:
        return f"{self.group or 'all others'}: {self.min_days} days"


class StayWord(models.Model):
    """What was said of a lot's stay in quarantine or hospital, signed. Append-only; the newest holds.

    ``expected``: why it is there and when it should end. ``released``: the checks were done, it may
    leave. ``left_early``: it left before that, and the veterinarian has looked at it.
    """

    class Kind(models.TextChoices):
        EXPECTED = "expected", "expected end"
        RELEASED = "released", "released"
        LEFT_EARLY = "left_early", "left early, looked at"

    kind = models.CharField(max_length=10, choices=Kind)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="stay_words")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="stay_words")
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="+", help_text="The move out."
    )
    ends_on = models.DateField(null=True, blank=True)
    words = models.CharField(max_length=500, help_text="Reason of the stay; checks done; why it left early.")
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ["at", "id"]
        indexes = [models.Index(fields=["place", "lot"], name="stay_word_of_lot")]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind="left_early", event__isnull=False)
                | (~Q(kind="left_early") & Q(event__isnull=True)),
                name="stay_word_of_an_event_only_when_it_left",
            ),
            models.UniqueConstraint(
                fields=["event", "lot", "place"],
                condition=Q(kind="left_early"),
                name="stay_word_one_look_an_event",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot_id} in {self.place_id}: {self.kind}"


STAY_TRIGGERS = [
    *triggers.append_only("tankside_quarantinerule"),
    *triggers.append_only("tankside_stayword"),
]
triggers.declare(*STAY_TRIGGERS)
