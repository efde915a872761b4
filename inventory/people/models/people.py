"""The house and its people."""

from django.conf import settings
from django.db import models


class Person(models.Model):
    """Somebody whose name stands in the book; most can sign in, some (a skipper) never do."""

    name = models.CharField(max_length=120, unique=True)
    initials = models.CharField(max_length=8, blank=True)
    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="person"
    )
    left_on = models.DateField(null=True, blank=True, help_text="The sign-in closes, the history stays.")

    sessions_ended_at = models.DateTimeField(
        null=True, blank=True, help_text="Whoever signed in before this signs in again."
    )

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "people"

    def __str__(self) -> str:
        return self.name


class House(models.Model):
    """The one institution that this database serves."""

    name = models.CharField(max_length=200)
    licence_number = models.CharField(max_length=60, blank=True)
    registrar = models.ForeignKey(
        Person,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
        help_text="Owns what nobody else owns: a balance below zero, a name to review.",
    )

    def __str__(self) -> str:
        return self.name
