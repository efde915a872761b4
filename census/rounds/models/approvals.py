"""Decisions that wait for the names of others, and what those answered. Append-only.

What was asked is posted when the last name that it needs is given, by that person, signed in.
"""

from django.db import models
from django.db.models import Q

from inventory.db import triggers
from inventory.people.models import Person

from ..rules.words import ApprovalRole, How
from .decisions import Decision
from .sheets import Line


class ApprovalAsked(models.Model):
    """A decision as it was stated. Nothing of it is in the book until it is approved.

    ``stated`` is the statement in full, ``fingerprint`` its hash; ``n`` the change of the line's book.
    ``book`` and ``counted`` are those that the person saw who asked.
    """

    line = models.ForeignKey(Line, on_delete=models.PROTECT, related_name="approvals_asked")
    other_line = models.ForeignKey(Line, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    how = models.CharField(max_length=16, choices=[(h.value, h.words) for h in How])
    reason = models.CharField(max_length=60, blank=True)
    n = models.IntegerField(default=0)
    stated = models.JSONField()
    fingerprint = models.CharField(max_length=64)
    curator = models.BooleanField()
    permit_officer = models.BooleanField()
    why = models.CharField(max_length=300, help_text="Why the rules ask for a name.")
    book = models.IntegerField(null=True)
    counted = models.IntegerField(null=True)
    asked_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="approvals_asked")
    asked_at = models.DateTimeField()

    class Meta:
        ordering = ["asked_at", "id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(curator=True) | Q(permit_officer=True), name="approval_is_asked_of_somebody"
            )
        ]

    def __str__(self) -> str:
        return f"{self.line}: {self.how}"


class ApprovalAnswer(models.Model):
    """What one of those asked said. ``decision``: what was posted by it, on the answer that completed it.

    Who asked may take it back: that is an answer of the registrar's.
    """

    asked = models.ForeignKey(ApprovalAsked, on_delete=models.PROTECT, related_name="answers")
    role = models.CharField(max_length=16, choices=[(r.value, r.value) for r in ApprovalRole])
    approved = models.BooleanField()
    why = models.CharField(max_length=300, blank=True)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    decision = models.OneToOneField(
        Decision, null=True, blank=True, on_delete=models.PROTECT, related_name="approval"
    )

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.UniqueConstraint(fields=["asked", "role"], name="approval_answered_once_by_a_role"),
            models.CheckConstraint(condition=Q(approved=True) | ~Q(why=""), name="refusal_says_why"),
        ]

    def __str__(self) -> str:
        return f"{self.role}: {'approved' if self.approved else 'refused'}"


APPROVAL_TRIGGERS = [
    *triggers.append_only("rounds_approvalasked"),
    *triggers.append_only("rounds_approvalanswer"),
]
triggers.declare(*APPROVAL_TRIGGERS)
