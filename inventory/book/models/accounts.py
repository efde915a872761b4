"""Where animals can be: places of ours, places of others, and the outside causes."""

from django.db import models
from django.db.models import Q

from ..rules.kinds import OUTSIDE_CAUSES


class PlaceKind(models.TextChoices):
    EXHIBIT = "exhibit", "exhibit"
    TANK = "tank", "tank"
    QUARANTINE = "quarantine", "quarantine"
    HOSPITAL = "hospital", "hospital"
    NURSERY = "nursery", "nursery"
    HOLDING = "holding", "holding"
    SUMP = "sump", "sump"
    FEED = "feed", "feed culture"
    OFF_SITE = "off_site", "held by others"


class Water(models.TextChoices):
    OPEN = "open", "open: raw sea water"
    CLOSED = "closed", "closed: water kept and treated"
    NONE = "", "none"


class Place(models.Model):
    """An exhibit, a tank or another place; a tree. Places in one joined set share their animals."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=PlaceKind, default=PlaceKind.TANK)
    parent = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="children"
    )
    joined_set = models.CharField(max_length=40, blank=True)
    water = models.CharField(max_length=10, choices=Water, blank=True)
    volume_m3 = models.DecimalField(max_digits=10, decimal_places=3, null=True, blank=True)
    windows = models.PositiveSmallIntegerField(default=1)
    opened_on = models.DateField(null=True, blank=True)
    closed_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"

    @property
    def off_site(self) -> bool:
        """True when the animals there are in somebody else's hands."""
        return self.kind == PlaceKind.OFF_SITE


class Account(models.Model):
    """One end of a flow: a place, or an outside cause. Outside causes are fixed rows."""

    place = models.OneToOneField(
        Place, null=True, blank=True, on_delete=models.PROTECT, related_name="account"
    )
    cause = models.CharField(max_length=20, blank=True, choices=[(code, code) for code in OUTSIDE_CAUSES])

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(place__isnull=False, cause="") | (Q(place__isnull=True) & ~Q(cause="")),
                name="account_is_a_place_or_a_cause",
            ),
            models.UniqueConstraint(
                fields=["cause"], condition=Q(place__isnull=True), name="account_one_per_cause"
            ),
        ]

    def __str__(self) -> str:
        return self.place.code if self.place else self.cause
