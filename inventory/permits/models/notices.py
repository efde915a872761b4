"""What was told to an authority about a death or an absence; reminders that went out by e-mail; calendars.

What has to be told is no row: it follows from the ledger and the permit. What was told is kept for ever.
"""

from django.db import models
from django.db.models import Q

from inventory.book.models import Document, Event, Lot
from inventory.db import triggers
from inventory.people.models import Person

from ..rules.notices import Told
from .permits import Permit


class NoticeSending(models.Model):
    """A notice went out, or somebody said why none is needed.

    ``event`` is the death or the absence in the book; none: the absence was told before the book knew of
    it, and is found again by its lot and the day on which it was found. ``text`` is what was sent.
    """

    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="notices")
    event = models.ForeignKey(
        Event, null=True, blank=True, on_delete=models.PROTECT, related_name="permit_notices"
    )
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="permit_notices")
    found_on = models.DateField()
    n = models.PositiveIntegerField(help_text="How many animals it told of.")
    told = models.CharField(max_length=10, choices=[(one.value, one.words) for one in Told])
    sent_on = models.DateField()
    how = models.CharField(max_length=120, blank=True)
    to = models.CharField(max_length=200, blank=True)
    text = models.TextField(blank=True)
    document = models.ForeignKey(
        Document, null=True, blank=True, on_delete=models.PROTECT, related_name="permit_notices"
    )
    note = models.CharField(max_length=300, blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["permit", "sent_on", "id"]
        constraints = [
            models.CheckConstraint(condition=Q(n__gte=1), name="notice_of_one_or_more"),
            models.CheckConstraint(
                condition=Q(told=Told.SENT.value) & ~Q(text="") & ~Q(to="")
                | Q(told=Told.NOT_NEEDED.value) & ~Q(note=""),
                name="notice_has_its_text_or_its_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.permit_id}: notice of {self.sent_on}"


class CalendarAddress(models.Model):
    """The private address of one person's calendar. Only the hash of its token is kept."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="calendar_addresses")
    token_hash = models.CharField(max_length=64, unique=True, help_text="SHA-256 of the token.")
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["person", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["person"], condition=Q(revoked_at__isnull=True), name="calendar_one_address_each"
            )
        ]

    def __str__(self) -> str:
        return f"calendar of {self.person_id}"


class DigestSent(models.Model):
    """The reminders of a day went to a person: once."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="digests")
    day = models.DateField()
    items = models.PositiveIntegerField()
    sent_at = models.DateTimeField()

    class Meta:
        ordering = ["day", "id"]
        verbose_name_plural = "digests sent"
        constraints = [models.UniqueConstraint(fields=["person", "day"], name="digest_once_a_day")]

    def __str__(self) -> str:
        return f"{self.person_id} on {self.day}"


NOTICE_TRIGGERS = [
    *triggers.append_only("permits_noticesending"),
    *triggers.append_only("permits_calendaraddress", columns=["person_id", "token_hash", "made_at"]),
    *triggers.append_only("permits_digestsent"),
]
triggers.declare(*NOTICE_TRIGGERS)
