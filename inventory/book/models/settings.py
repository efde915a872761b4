"""The named numbers of the house, as they were changed. Append-only; the newest row counts."""

from django.db import models

from inventory.db import triggers
from inventory.people.models import Person


class Setting(models.Model):
    """One change of one named number; what was never changed has its default and no row."""

    name = models.CharField(max_length=60)
    value = models.IntegerField()
    since = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="settings_changed")
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["since", "id"]
        indexes = [models.Index(fields=["name", "since"], name="book_setting_name_since")]

    def __str__(self) -> str:
        return f"{self.name} {self.value}"


SETTING_TRIGGERS = triggers.append_only("book_setting")
triggers.declare(*SETTING_TRIGGERS)
