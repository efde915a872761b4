"""Statements that wait for approval. A constant number of queries."""

from django.db.models import Q, QuerySet

from ..models import ApprovalAnswer, ApprovalAsked, Line
from ..rules.words import CensusState


def still_waiting() -> QuerySet[ApprovalAsked]:
    """All that was asked and neither refused nor posted, oldest first; nothing of a census that is given up,
    in which nothing is decided any more."""
    over = ApprovalAnswer.objects.filter(Q(approved=False) | Q(decision__isnull=False))
    asked = ApprovalAsked.objects.exclude(line__sheet__census__state=CensusState.ABANDONED.value)
    return asked.exclude(pk__in=over.values("asked"))


def waiting_about(*lines: Line) -> ApprovalAsked | None:
    """The oldest statement about the lines that waits, if one does."""
    return still_waiting().filter(line__in=lines).select_related("asked_by").first()
