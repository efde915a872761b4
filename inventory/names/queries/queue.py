"""The review queue, oldest first, and all that a person needs to decide one name."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from ..models import BackboneRelease, CheckState, NameCheck, NameDecision, Taxon, TaxonName
from ..rules.match import Asked
from ..rules.verdicts import Choice, Verdict, choice_texts
from .verdicts import verdicts_for


def waiting() -> QuerySet[NameCheck, Any]:
    """Names to review, oldest first, with ``n_lots`` and ``n_held`` (animals) under each."""
    return (
        NameCheck.objects.filter(state=CheckState.TO_REVIEW)
        .select_related("asked_by", "release")
        .annotate(
            n_lots=Count("taxon__lots"),
            n_held=Coalesce(Sum("taxon__lots__held"), 0),
        )
        .order_by("asked_at", "id")
    )


def decided() -> QuerySet[NameDecision]:
    """Decisions, newest first."""
    return NameDecision.objects.select_related("check_of", "decided_by").order_by("-decided_at", "-id")


@dataclass(frozen=True, slots=True)
class Offered:
    """One choice as the page offers it: how many animals the house holds of it, and whether here."""

    choice: Choice
    text: str
    n_held: int
    is_here: bool

    @property
    def value(self) -> str:
        """What the form sends: name and authorship."""
        return f"{self.choice.name}|{self.choice.authorship}"


@dataclass(frozen=True, slots=True)
class AffectedLot:
    """A lot that stands under the name to review."""

    accession: str
    house_name: str
    held: int
    places: str


@dataclass(frozen=True, slots=True)
class ToReview:
    """One name with what the current backbone says, what may be chosen, and what is touched.

    ``changed``: the current backbone answers otherwise than the one that was asked.
    """

    check: NameCheck
    verdict: Verdict
    release: BackboneRelease | None
    changed: bool
    offered: Sequence[Offered]
    lots: Sequence[AffectedLot]
    n_lots: int
    n_held: int
    decisions: Sequence[NameDecision]
    names: Sequence[TaxonName]


LOTS_SHOWN = 50


def to_review(check: NameCheck) -> ToReview:
    """Everything about one check, in a constant number of queries."""
    places = _places(check)
    release, (verdict,) = verdicts_for([Asked(check.typed)])
    choices = verdict.choices or tuple(Choice(**row) for row in check.choices)
    lots = _lots(check)
    total = (
        check.taxon.lots.aggregate(n=Count("id"), held=Coalesce(Sum("held"), 0))
        if check.taxon
        else {"n": 0, "held": 0}
    )
    return ToReview(
        check=check,
        verdict=verdict,
        release=release,
        changed=(verdict.verdict.value, verdict.name) != (check.verdict, check.name),
        offered=_offered(choices, places, check),
        lots=lots,
        n_lots=total["n"],
        n_held=total["held"],
        decisions=list(check.decisions.select_related("decided_by")),
        names=list(check.taxon.names.select_related("decided_by", "release")) if check.taxon else [],
    )


def _places(check: NameCheck) -> set[int]:
    """Places where animals of this name are now."""
    if check.taxon is None:
        return set()
    there = check.taxon.lots.filter(cells__balance__gt=0, cells__inside=True)
    return set(there.values_list("cells__account__place_id", flat=True))


def _lots(check: NameCheck) -> list[AffectedLot]:
    if check.taxon is None:
        return []
    lots = list(check.taxon.lots.order_by("accession")[:LOTS_SHOWN])
    inside = check.taxon.lots.filter(cells__inside=True, cells__balance__gt=0)
    where: dict[int, set[str]] = {}
    for lot_id, code in inside.values_list("id", "cells__account__place__code"):
        where.setdefault(lot_id, set()).add(code)
    return [
        AffectedLot(lot.accession, lot.house_name, lot.held, ", ".join(sorted(where.get(lot.pk, ()))))
        for lot in lots
    ]


def _offered(choices: Sequence[Choice], places: set[int], check: NameCheck) -> list[Offered]:
    """Choices with those held in the same place first, then those held at all.

    The animals under review prove nothing of themselves, so their own taxon is not counted.
    """
    here = Q(lots__cells__account__place_id__in=places, lots__cells__balance__gt=0)
    names = {choice.name for choice in choices}
    known = Taxon.objects.filter(scientific_name__in=names).exclude(pk=check.taxon_id or 0)
    held = dict(
        known.annotate(n=Coalesce(Sum("lots__held"), 0)).order_by().values_list("scientific_name", "n")
    )
    are_here = set(known.filter(here).values_list("scientific_name", flat=True)) if places else set()
    offered = [
        Offered(choice, text, held.get(choice.name, 0), choice.name in are_here)
        for choice, text in zip(choices, choice_texts(choices), strict=True)
    ]
    return sorted(offered, key=lambda one: (not one.is_here, one.n_held == 0))
