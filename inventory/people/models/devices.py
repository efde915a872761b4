"""Tablets, phones and sensors that may speak for the house without a sign-in."""

from django.db import models
from django.db.models import Q

from inventory.db import triggers

from .people import Person


class DeviceScope(models.TextChoices):
    TANKSIDE = "tankside", "tank side: entries by people"
    READINGS = "readings", "readings: a sensor"
    REPORTS = "reports", "reports: a program that reads"


class Device(models.Model):
    """A machine that a registrar lets in. Only the SHA-256 of its token is kept."""

    name = models.CharField(max_length=40, unique=True)
    scope = models.CharField(max_length=10, choices=DeviceScope, default=DeviceScope.TANKSIDE)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    enrolled_at = models.DateTimeField(null=True, blank=True, help_text="Blank: it never was.")
    token_hash = models.CharField(max_length=64, blank=True)
    revoked_at = models.DateTimeField(null=True, blank=True)
    revoked_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    last_seen_at = models.DateTimeField(null=True, blank=True, help_text="To the minute.")

    class Meta:
        ordering = ["name"]
        constraints = [
            models.UniqueConstraint(
                fields=["token_hash"], condition=~Q(token_hash=""), name="device_token_is_unique"
            )
        ]

    def __str__(self) -> str:
        return self.name


class EnrolmentCode(models.Model):
    """Lets one machine in once, for a quarter of an hour. Kept as a keyed hash."""

    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="codes")
    code_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    failed = models.PositiveSmallIntegerField(
        default=0, help_text="Wrong codes typed by anybody while this one was open."
    )

    class Meta:
        ordering = ["made_at", "id"]

    def __str__(self) -> str:
        return f"code for {self.device_id}"


class DeviceNote(models.Model):
    """What was done with a device, when and by whom. Append-only."""

    device = models.ForeignKey(Device, on_delete=models.PROTECT, related_name="notes")
    what = models.CharField(max_length=40)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.device_id}: {self.what}"


DEVICE_TRIGGERS = triggers.append_only("people_devicenote")
triggers.declare(*DEVICE_TRIGGERS)
