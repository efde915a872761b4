"""Four digits that say who holds the tablet. They open the tank side only, never a sign-in."""

from django.db import models
from django.db.models import Q

from .devices import Device
from .people import Person


class PersonCode(models.Model):
    """A person's code, hashed like a password. A changed code ends what was confirmed with the old one."""

    person = models.OneToOneField(Person, on_delete=models.PROTECT, related_name="code")
    code_hash = models.CharField(max_length=128)
    changed_at = models.DateTimeField()
    changed_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"code of {self.person_id}"


class CodeTries(models.Model):
    """Wrong tries for a person: on one device, or on all together where ``device`` is blank.

    Rows are kept for people without a code too, so that nothing tells them apart.
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="code_tries")
    device = models.ForeignKey(
        Device, null=True, blank=True, on_delete=models.PROTECT, related_name="code_tries"
    )
    failed = models.PositiveSmallIntegerField(default=0)
    locked_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "device"], condition=Q(device__isnull=False), name="code_tries_on_a_device"
            ),
            models.UniqueConstraint(
                fields=["person"], condition=Q(device__isnull=True), name="code_tries_of_a_person"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} on {self.device_id}: {self.failed}"
