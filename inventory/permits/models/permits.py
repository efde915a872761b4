"""What an authority allows, in its own words, and which animals those words mean.

A permit changes by versions: an amendment goes on with what was counted, a renewal counts from its
first day anew. Words and limits are never edited. What the words mean to science is a link beside
them, with a history of its own, for names change while the paper does not.
"""

from django.db import models
from django.db.models import F, Q

from inventory.book.models import Document
from inventory.db import triggers
from inventory.names.models import Taxon
from inventory.people.models import Person

from ..rules.shore import Waters as Kinds


class Authority(models.Model):
    """Who issues permits and gets the returns."""

    code = models.CharField(max_length=20, unique=True, help_text="As the house writes it: HISFB.")
    name = models.CharField(max_length=200)
    return_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="Returns are due so many days after expiry, unless the permit says."
    )

    class Meta:
        ordering = ["code"]
        verbose_name_plural = "authorities"

    def __str__(self) -> str:
        return self.code


class Permit(models.Model):
    """One permit under its number. All that it says stands in its versions."""

    number = models.CharField(max_length=60, unique=True)
    authority = models.ForeignKey(Authority, on_delete=models.PROTECT, related_name="permits")
    holder = models.CharField(max_length=200)
    kind = models.CharField(
        max_length=60, default="collecting", help_text="collecting, holding, salvage: in plain words"
    )
    short = models.CharField(max_length=12, blank=True, help_text="What people here call it: P1.")

    class Meta:
        ordering = ["number"]

    def __str__(self) -> str:
        return self.number


class VersionKind(models.TextChoices):
    FIRST = "first", "as issued"
    AMENDMENT = "amendment", "amended"
    RENEWAL = "renewal", "renewed"


class Waters(models.TextChoices):
    """Where the permit lets animals be taken."""

    SEA = Kinds.SEA.value, "the sea"
    INLAND = Kinds.INLAND.value, "lakes and rivers"
    BOTH = Kinds.BOTH.value, "the sea, lakes and rivers"


class PermitVersion(models.Model):
    """All that a permit says from ``amended_on`` on, whole. Limits go on through amendments.

    ``area`` holds positions as a list of [longitude, latitude] in decimal degrees (WGS 84), the
    corners of one polygon; empty: the area is known by its words only. ``seasons`` is a list of
    ["MM-DD", "MM-DD"], first and last day, both inside; empty: all year.
    """

    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=10, choices=VersionKind, default=VersionKind.FIRST)
    amended_on = models.DateField(help_text="From this day on it says so.")
    valid_from = models.DateField()
    valid_until = models.DateField(help_text="Last day, inside.")
    area_words = models.CharField(max_length=300, blank=True)
    area = models.JSONField(default=list, blank=True)
    waters = models.CharField(
        max_length=6,
        choices=Waters,
        default=Waters.SEA,
        help_text="A position on the other side of the shore is doubtful.",
    )
    gear = models.JSONField(default=list, blank=True, help_text="Gear allowed; empty: not limited.")
    seasons = models.JSONField(default=list, blank=True)
    conditions = models.TextField(blank=True, help_text="In the permit's own words.")
    let_go_alive_counts = models.BooleanField(
        default=False, help_text="Animals let go alive count against the limits too."
    )
    notice_days = models.PositiveSmallIntegerField(
        null=True, blank=True, help_text="A death or an absence is told to the authority within so many days."
    )
    missing_is_notice = models.BooleanField(
        default=False, help_text="An animal not found is told like a death."
    )
    stock_statement = models.CharField(
        max_length=20, blank=True, help_text="quarter, year or nothing: a statement of what is held"
    )
    return_due_on = models.DateField(
        null=True, blank=True, help_text="The permit's own day; blank: the authority's rule."
    )
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="permit_versions")
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["permit", "number"]
        constraints = [
            models.UniqueConstraint(fields=["permit", "number"], name="permit_version_is_unique"),
            models.CheckConstraint(
                condition=Q(valid_until__gte=F("valid_from")), name="permit_ends_after_start"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.permit} version {self.number}"


class PermitPerson(models.Model):
    """Somebody whom a version names."""

    version = models.ForeignKey(PermitVersion, on_delete=models.PROTECT, related_name="people")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="permits")

    class Meta:
        ordering = ["version", "id"]
        constraints = [models.UniqueConstraint(fields=["version", "person"], name="permit_person_is_unique")]

    def __str__(self) -> str:
        return f"{self.version_id}: {self.person_id}"


class PermitDocument(models.Model):
    """A paper of a version: the permit itself, an amendment, a letter."""

    version = models.ForeignKey(PermitVersion, on_delete=models.PROTECT, related_name="documents")
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="permits")
    attached_at = models.DateTimeField()
    attached_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["version", "id"]
        constraints = [
            models.UniqueConstraint(fields=["version", "document"], name="permit_document_is_unique")
        ]

    def __str__(self) -> str:
        return f"{self.version_id}: {self.document_id}"


class Per(models.TextChoices):
    """What a limit is counted over."""

    PERMIT = "permit", "in all"
    YEAR = "year", "a calendar year"
    TRIP = "trip", "a trip"
    HELD = "held", "held at once"


class PermitLine(models.Model):
    """One line of a version's schedule. ``number`` stays the same through all versions of the permit."""

    version = models.ForeignKey(PermitVersion, on_delete=models.PROTECT, related_name="lines")
    number = models.PositiveSmallIntegerField()
    position = models.PositiveSmallIntegerField()
    words = models.CharField(max_length=300, help_text="The permit's own words, kept for ever.")
    limit = models.PositiveIntegerField(null=True, blank=True, help_text="Blank: no limit is stated.")
    per = models.CharField(max_length=6, choices=Per, default=Per.PERMIT)
    unit = models.CharField(max_length=40, default="animal")
    sex = models.CharField(max_length=13, blank=True, help_text="Only this sex; blank: any.")
    condition = models.CharField(max_length=200, blank=True, help_text="In words: not berried.")
    smallest_mm = models.PositiveIntegerField(null=True, blank=True)
    largest_mm = models.PositiveIntegerField(null=True, blank=True)
    let_go_alive_counts = models.BooleanField(
        null=True, blank=True, help_text="Blank: as the permit says for all lines."
    )

    class Meta:
        ordering = ["version", "position"]
        constraints = [
            models.UniqueConstraint(fields=["version", "number"], name="permit_line_is_unique"),
        ]

    def __str__(self) -> str:
        return self.words


class Scope(models.TextChoices):
    """What the words of a line cover."""

    TAXON = "taxon", "one kind of animal"
    HIGHER = "higher", "all of a higher taxon"
    GROUP = "group", "a group, together"
    NOT_LISTED = "not_listed", "those of a group that no other line names"


class LineLink(models.Model):
    """What a line's words mean, as somebody decided; the newest holds for all versions of the line."""

    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="links")
    line_number = models.PositiveSmallIntegerField()
    scope = models.CharField(max_length=10, choices=Scope)
    linked_at = models.DateTimeField()
    linked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="permit_links")
    why = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["permit", "line_number", "id"]
        indexes = [models.Index(fields=["permit", "line_number", "id"], name="permit_link_newest")]

    def __str__(self) -> str:
        return f"{self.permit_id} line {self.line_number}: {self.scope}"


class LinkMember(models.Model):
    """One name in a link: a taxon of the house, or a name of any rank (``rank`` as the backbone writes it).

    ``name`` is what was accepted on the day of the link; when the taxon bears another name now, or the
    backbone no longer accepts it, the link is up for review.
    """

    link = models.ForeignKey(LineLink, on_delete=models.PROTECT, related_name="members")
    taxon = models.ForeignKey(
        Taxon, null=True, blank=True, on_delete=models.PROTECT, related_name="permit_links"
    )
    name = models.CharField(max_length=200)
    rank = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["link", "id"]

    def __str__(self) -> str:
        return self.name


PERMIT_TRIGGERS = [
    trigger
    for table in ("permitversion", "permitperson", "permitdocument", "permitline", "linelink", "linkmember")
    for trigger in triggers.append_only(f"permits_{table}")
]
triggers.declare(*PERMIT_TRIGGERS)
