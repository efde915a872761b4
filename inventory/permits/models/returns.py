"""What is sent to an authority about a permit, frozen as it was sent; the forms that authorities ask for.

All of it is append-only. A return that has become wrong is followed by another version; both stay.
"""

from django.db import models
from django.db.models import F, Q

from inventory.book.models import Document
from inventory.db import triggers
from inventory.people.models import Person

from ..rules.due import DueKind
from .permits import Authority, Permit
from .takes import Take, Trip


class ReturnRule(models.Model):
    """When an authority wants its returns; the newest row holds, those before it are the history."""

    authority = models.ForeignKey(Authority, on_delete=models.PROTECT, related_name="return_rules")
    kind = models.CharField(max_length=12, choices=[(k.value, k.words) for k in DueKind])
    days = models.PositiveSmallIntegerField(default=0)
    month_day = models.CharField(max_length=5, blank=True)
    source = models.CharField(max_length=300, blank=True, help_text="Where the rule stands.")
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["authority", "id"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(kind=DueKind.EACH_YEAR.value) | ~Q(month_day=""), name="return_rule_has_its_day"
            )
        ]

    def __str__(self) -> str:
        return f"{self.authority_id}: {self.kind}"


class ReturnTemplate(models.Model):
    """A form that an authority asks for: which columns, in which order, under which headings."""

    authority = models.ForeignKey(Authority, on_delete=models.PROTECT, related_name="return_templates")
    name = models.CharField(max_length=80)

    class Meta:
        ordering = ["authority", "name"]
        constraints = [
            models.UniqueConstraint(fields=["authority", "name"], name="return_template_is_unique")
        ]

    def __str__(self) -> str:
        return self.name


class TemplateVersion(models.Model):
    """What a template says from a moment on. ``columns`` are [code, heading] in their order.

    ``coarse_degrees``: positions are rounded to a grid of so many degrees, and places in words are left
    out; none: all is told.
    """

    template = models.ForeignKey(ReturnTemplate, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveSmallIntegerField()
    columns = models.JSONField()
    coarse_degrees = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    why = models.CharField(max_length=300, blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["template", "number"]
        constraints = [
            models.UniqueConstraint(fields=["template", "number"], name="template_version_is_unique"),
            models.CheckConstraint(
                condition=Q(coarse_degrees__isnull=True) | Q(coarse_degrees__gt=0),
                name="template_grid_is_some",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.template} version {self.number}"


class PermitReturn(models.Model):
    """One version of one return of a permit, as it was frozen.

    ``serial`` numbers the returns of a permit, ``version`` what was sent of one: the amended return is
    version 2 of the first. Takes of ``starts_on`` to ``ends_on`` are in it; what became of the animals is
    told as of the end of ``as_of``. ``open_ends`` are the checks that were not met, ``explained`` what was
    said of them. ``head`` is what stands over the rows, ``fingerprint`` the hash of all that is said.
    ``frozen_at`` is when it was made; ``recorded_at`` when it was written here.
    """

    permit = models.ForeignKey(Permit, on_delete=models.PROTECT, related_name="returns")
    serial = models.PositiveSmallIntegerField()
    version = models.PositiveSmallIntegerField()
    amends = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="amended_by"
    )
    starts_on = models.DateField()
    ends_on = models.DateField()
    as_of = models.DateField()
    nil = models.BooleanField(default=False, help_text="Nothing was taken.")
    template = models.ForeignKey(
        TemplateVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="returns"
    )
    columns = models.JSONField()
    coarse_degrees = models.DecimalField(max_digits=4, decimal_places=2, null=True, blank=True)
    head = models.JSONField()
    open_ends = models.JSONField(default=list)
    explained = models.TextField(blank=True)
    remark = models.TextField(blank=True, help_text="Words to the authority.")
    fingerprint = models.CharField(max_length=64)
    frozen_at = models.DateTimeField()
    frozen_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="returns_frozen")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["permit", "serial", "version"]
        constraints = [
            models.UniqueConstraint(fields=["permit", "serial", "version"], name="return_version_is_unique"),
            models.CheckConstraint(condition=Q(ends_on__gte=F("starts_on")), name="return_ends_after_start"),
            models.CheckConstraint(
                condition=Q(version=1, amends__isnull=True) | Q(version__gt=1, amends__isnull=False),
                name="return_amends_what_was_first",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.permit} return {self.serial} version {self.version}"


class ReturnRow(models.Model):
    """One row of a return. ``values`` are all that was known, ``told`` what stands in the files where that
    is less. ``take_row`` and ``trip_row`` are the rows that stood then."""

    of_return = models.ForeignKey(PermitReturn, on_delete=models.PROTECT, related_name="rows")
    line = models.PositiveIntegerField()
    take = models.CharField(max_length=60, help_text="The identifier that stays through corrections.")
    take_row = models.ForeignKey(Take, on_delete=models.PROTECT, related_name="+")
    trip_row = models.ForeignKey(Trip, on_delete=models.PROTECT, related_name="+")
    mark = models.CharField(max_length=400, blank=True, help_text="What is new against the version before.")
    withdrawn = models.BooleanField(default=False)
    values = models.JSONField()
    told = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ["of_return", "line"]
        constraints = [
            models.UniqueConstraint(fields=["of_return", "line"], name="return_line_is_unique"),
            models.UniqueConstraint(fields=["of_return", "take"], name="return_take_is_unique"),
        ]

    def __str__(self) -> str:
        return f"{self.of_return_id}/{self.line}"


class ReturnFile(models.Model):
    """A file of a return, kept as it was made."""

    of_return = models.ForeignKey(PermitReturn, on_delete=models.PROTECT, related_name="files")
    form = models.CharField(max_length=8)
    document = models.ForeignKey(Document, on_delete=models.PROTECT, related_name="returns")

    class Meta:
        ordering = ["of_return", "id"]
        constraints = [models.UniqueConstraint(fields=["of_return", "form"], name="return_file_is_unique")]

    def __str__(self) -> str:
        return f"{self.of_return_id}: {self.form}"


class ReturnSending(models.Model):
    """A return went out: how, to whom, and what proves that it came."""

    of_return = models.ForeignKey(PermitReturn, on_delete=models.PROTECT, related_name="sendings")
    sent_on = models.DateField()
    how = models.CharField(max_length=120)
    to = models.CharField(max_length=200)
    receipt = models.ForeignKey(
        Document, null=True, blank=True, on_delete=models.PROTECT, related_name="return_receipts"
    )
    note = models.CharField(max_length=300, blank=True)
    entered_at = models.DateTimeField()
    entered_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["of_return", "sent_on", "id"]

    def __str__(self) -> str:
        return f"{self.of_return_id} sent on {self.sent_on}"


class ReturnLook(models.Model):
    """Somebody looked at what has changed since, and found nothing to amend."""

    of_return = models.ForeignKey(PermitReturn, on_delete=models.PROTECT, related_name="looks")
    words = models.CharField(max_length=300)
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        ordering = ["of_return", "at", "id"]

    def __str__(self) -> str:
        return self.words


class CorrectionApproval(models.Model):
    """A second person agrees with a row that replaces another: of a take, or of a trip."""

    take = models.OneToOneField(
        Take, null=True, blank=True, on_delete=models.PROTECT, related_name="approval"
    )
    trip = models.OneToOneField(
        Trip, null=True, blank=True, on_delete=models.PROTECT, related_name="approval"
    )
    at = models.DateTimeField()
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(take__isnull=True, trip__isnull=False) | Q(take__isnull=False, trip__isnull=True),
                name="approval_is_of_one_row",
            )
        ]

    def __str__(self) -> str:
        return f"{self.by_id} {self.at}"


RETURN_TRIGGERS = [
    trigger
    for table in (
        *("returnrule", "returntemplate", "templateversion", "permitreturn", "returnrow", "returnfile"),
        *("returnsending", "returnlook", "correctionapproval"),
    )
    for trigger in triggers.append_only(f"permits_{table}")
]
triggers.declare(*RETURN_TRIGGERS)
