"""Many deaths, or one that matters: shown until somebody has seen it, and sent by e-mail."""

from django.db import models

from inventory.book.models import Event, Lot, Place
from inventory.people.models import Person

from ..rules.alarms import Reason


class Alarm(models.Model):
    """Raised by one death, in the same transaction. Only who saw it, and its post, move on."""

    reason = models.CharField(max_length=8, choices=[(reason.value, reason.words) for reason in Reason])
    event = models.ForeignKey(Event, on_delete=models.PROTECT, related_name="alarms")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="alarms")
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="alarms")
    words = models.CharField(max_length=300)
    raised_at = models.DateTimeField()
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    undone_at = models.DateTimeField(
        null=True, blank=True, help_text="When so many deaths were taken back that it is none any more."
    )
    # The post. Blank ``next_try_at``: nothing is left to do.
    next_try_at = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    mailed_at = models.DateTimeField(null=True, blank=True)
    mail_trouble = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["-raised_at", "-id"]
        constraints = [models.UniqueConstraint(fields=["event", "reason"], name="alarm_once_an_event")]
        indexes = [
            models.Index(fields=["seen_at", "raised_at"], name="alarm_unseen"),
            models.Index(fields=["next_try_at"], name="alarm_post"),
        ]

    def __str__(self) -> str:
        return self.words
