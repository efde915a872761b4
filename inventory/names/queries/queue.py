"""The review queue, oldest first, and how far a person has come with it."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Count, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from inventory.people.models import Person

from ..models import CheckState, DecisionKind, NameCheck, NameDecision, Taxon


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which part of the queue: verdict, code of a tank, waiting for at least so many days. Blank: all."""

    verdict: str = ""
    place: str = ""
    days: int = 0
    now: datetime | None = None


ALL = Wanted()


def waiting(wanted: Wanted = ALL) -> QuerySet[NameCheck, Any]:
    """Names to review, oldest first, with ``n_lots`` and ``n_held`` (animals) under each."""
    return (
        _open(wanted)
        .select_related("asked_by", "release")
        .annotate(
            n_lots=Count("taxon__lots"),
            n_held=Coalesce(Sum("taxon__lots__held"), 0),
        )
    )


def _open(wanted: Wanted) -> QuerySet[NameCheck]:
    checks = NameCheck.objects.filter(state=CheckState.TO_REVIEW).order_by("asked_at", "id")
    if wanted.verdict:
        checks = checks.filter(verdict=wanted.verdict)
    if wanted.place:
        checks = checks.filter(taxon__in=Taxon.objects.filter(_stands_in(wanted.place)))
    if wanted.days and wanted.now:
        checks = checks.filter(asked_at__lte=wanted.now - timedelta(days=wanted.days))
    return checks


def _stands_in(place: str) -> Q:
    return Q(lots__cells__account__place__code=place, lots__cells__inside=True, lots__cells__balance__gt=0)


def next_to_review(wanted: Wanted = ALL, *, skipped: Collection[int] = ()) -> NameCheck | None:
    """The oldest name that waits and was not skipped. One query."""
    return _open(wanted).exclude(pk__in=skipped).first()


def verdicts_waiting() -> dict[str, int]:
    """How many names wait, by verdict."""
    rows = NameCheck.objects.filter(state=CheckState.TO_REVIEW).values("verdict").annotate(n=Count("id"))
    return {row["verdict"]: row["n"] for row in rows.order_by("verdict")}


def places_waiting() -> list[tuple[str, str]]:
    """Code and name of the tanks in which animals with an open name stand, by code."""
    checks = NameCheck.objects.filter(
        state=CheckState.TO_REVIEW,
        taxon__lots__cells__inside=True,
        taxon__lots__cells__balance__gt=0,
    )
    place = "taxon__lots__cells__account__place__"
    return list(checks.values_list(f"{place}code", f"{place}name").distinct().order_by(f"{place}code"))


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a person has come: "name ``number`` of ``total``, ``skipped`` skipped".

    ``total`` is what waits and what this person decided since ``since``.
    """

    number: int
    total: int
    skipped: int
    decided: int


def progress(
    person: Person, *, since: datetime, wanted: Wanted = ALL, skipped: Collection[int] = ()
) -> Progress:
    """Where a person stands in the queue. Two queries."""
    open_ids = set(_open(wanted).values_list("pk", flat=True))
    n_skipped = len(open_ids.intersection(skipped))
    n_decided = (
        NameDecision.objects.filter(
            decided_by=person, decided_at__gte=since, undone_by=None, check_of__state=CheckState.DECIDED
        )
        .exclude(kind__in=(DecisionKind.UNDONE, DecisionKind.REOPENED, DecisionKind.RELEASE_ADOPTED))
        .count()
    )
    total = n_decided + len(open_ids)
    return Progress(min(n_decided + n_skipped + 1, total), total, n_skipped, n_decided)


def decided() -> QuerySet[NameDecision]:
    """Decisions, newest first."""
    return NameDecision.objects.select_related("check_of", "decided_by", "undone_by").order_by(
        "-decided_at", "-id"
    )
