"""A role for some days: an inspector comes, looks and goes."""

from django.db import models
from django.db.models import F, Q

from inventory.db import triggers

from .people import Person


class RoleTerm(models.Model):
    """A role held from one day to another, both included. Nothing of it is changed but its end."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="terms")
    role = models.CharField(max_length=20)
    starts_on = models.DateField()
    ends_on = models.DateField()
    reason = models.CharField(max_length=300)
    granted_at = models.DateTimeField()
    granted_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(null=True, blank=True, help_text="Before its last day: from then on.")
    ended_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-starts_on", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")), name="role_term_ends_after_it_starts"
            )
        ]

    def __str__(self) -> str:
        return f"{self.person_id}: {self.role} {self.starts_on} to {self.ends_on}"


_STATED = ("person_id", "role", "starts_on", "ends_on", "reason", "granted_at", "granted_by_id")
TERM_TRIGGERS = triggers.append_only("people_roleterm", columns=_STATED)
triggers.declare(*TERM_TRIGGERS)
