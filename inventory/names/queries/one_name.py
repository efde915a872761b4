"""All that a person needs to decide one name of the review queue."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from ..models import BackboneRelease, DecisionKind, NameCheck, NameDecision, Taxon, TaxonName
from ..rules.agree import by_authorship
from ..rules.lineage import Level, levels
from ..rules.match import Asked
from ..rules.verdicts import UNSTATED, Choice, Classification, Usage, Verdict, choice_texts
from .verdicts import usages_of, verdicts_for

LOTS_SHOWN = 50
_EARLIER_SHOWN = 20
_TAKEN_BACK = (DecisionKind.UNDONE, DecisionKind.REOPENED)


@dataclass(frozen=True, slots=True)
class Offered:
    """One name as the page offers it, with how many animals the house holds of it.

    ``value`` is what the form sends. The suggestion is offered first, under its own word.
    """

    choice: Choice
    text: str
    n_held: int
    classification: Classification
    is_suggestion: bool = False

    @property
    def value(self) -> str:
        """What the form sends: what kind of answer, and which name."""
        if self.is_suggestion:
            return f"suggestion|{self.choice.name}"
        return f"choice|{self.choice.name}|{self.choice.authorship}"


@dataclass(frozen=True, slots=True)
class Standing:
    """A lot, what it stands under, and the tanks in which it is."""

    taxon: str
    accession: str
    house_name: str
    held: int
    places: str


@dataclass(frozen=True, slots=True)
class Tank:
    """A tank in which animals of the name to review are."""

    code: str
    name: str
    held: int


@dataclass(frozen=True, slots=True)
class Earlier:
    """A typed form that was decided before, and what it was found to be."""

    typed: str
    scientific_name: str
    decided_at: datetime
    by: str
    check_id: int


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
    lineage: Sequence[Level]
    tanks: Sequence[Tank]
    lots: Sequence[Standing]
    n_lots: int
    n_held: int
    others: Sequence[Standing]
    earlier: Sequence[Earlier]
    decisions: Sequence[NameDecision]
    names: Sequence[TaxonName]

    @property
    def lots_caption(self) -> str:
        """How many lots and animals stand under which name, and how many of them are shown."""
        lots = "1 lot" if self.n_lots == 1 else f"{self.n_lots} lots"
        animals = "1 animal" if self.n_held == 1 else f"{self.n_held} animals"
        text = f"{lots}, {animals} under {self.check.taxon}"
        return f"{text}; the first {len(self.lots)} are shown" if self.n_lots > len(self.lots) else text


def to_review(check: NameCheck) -> ToReview:
    """Everything about one check, in a constant number of queries."""
    tanks = _tanks(check.taxon)
    places = [tank.code for tank in tanks]
    release, (verdict,) = verdicts_for([Asked(check.typed)], places=places, besides=check.taxon)
    offered = _offered(verdict, check, release)
    names = {one.choice.name for one in offered}
    own = Taxon.objects.filter(pk=check.taxon_id or 0)
    total = own.aggregate(n=Count("lots"), held=Coalesce(Sum("lots__held"), 0))
    return ToReview(
        check=check,
        verdict=verdict,
        release=release,
        changed=(verdict.verdict.value, verdict.name) != (check.verdict, check.name),
        offered=offered,
        lineage=levels([(one.choice, one.classification) for one in offered]),
        tanks=tanks,
        lots=_lots(own),
        n_lots=total["n"],
        n_held=total["held"],
        others=_lots(Taxon.objects.filter(scientific_name__in=names).exclude(pk=check.taxon_id or 0)),
        earlier=_earlier(check, names),
        decisions=list(check.decisions.select_related("decided_by", "undone_by")),
        names=list(check.taxon.names.select_related("decided_by", "release")) if check.taxon else [],
    )


def _tanks(taxon: Taxon | None) -> list[Tank]:
    """Tanks where animals of this taxon are now, by code."""
    if taxon is None:
        return []
    inside = taxon.lots.filter(cells__inside=True, cells__balance__gt=0)
    rows = inside.values_list("cells__account__place__code", "cells__account__place__name")
    return [
        Tank(*row)
        for row in rows.annotate(held=Sum("cells__balance")).order_by("cells__account__place__code")
    ]


def _lots(taxa: QuerySet[Taxon]) -> list[Standing]:
    rows = (
        taxa.filter(lots__isnull=False)
        .order_by("lots__accession")
        .values_list("scientific_name", "lots__accession", "lots__house_name", "lots__held")[:LOTS_SHOWN]
    )
    lots = list(rows)
    if not lots:
        return []
    inside = Taxon.objects.filter(
        lots__accession__in=[lot[1] for lot in lots], lots__cells__inside=True, lots__cells__balance__gt=0
    )
    where: dict[str, set[str]] = {}
    for accession, code in inside.values_list("lots__accession", "lots__cells__account__place__code"):
        where.setdefault(accession, set()).add(code)
    return [Standing(*lot, places=", ".join(sorted(where.get(lot[1], ())))) for lot in lots]


def _offered(verdict: Verdict, check: NameCheck, release: BackboneRelease | None) -> list[Offered]:
    """The suggestion, then the choices as ranked; each once."""
    choices = list(verdict.choices) or [Choice(**row) for row in check.choices]
    suggested = [one for one in choices if (one.name, one.authorship) == (verdict.name, verdict.authorship)]
    if verdict.name and not suggested:
        phylum = verdict.classification.phylum
        suggested = [Choice(verdict.name, verdict.authorship, verdict.rank, phylum)]
    rest = [one for one in choices if one not in suggested]
    both = suggested[:1] + rest if verdict.name else choices
    names = {one.name for one in both}
    known = usages_of(names, release)
    held = dict(
        Taxon.objects.filter(scientific_name__in=names)
        .exclude(pk=check.taxon_id or 0)
        .annotate(n=Coalesce(Sum("lots__held"), 0))
        .order_by()
        .values_list("scientific_name", "n")
    )
    return [
        Offered(
            choice=one,
            text=text,
            n_held=held.get(one.name, 0),
            classification=_classification(one, known),
            is_suggestion=bool(verdict.name) and index == 0,
        )
        for index, (one, text) in enumerate(zip(both, choice_texts(both), strict=True))
    ]


def _classification(choice: Choice, known: Mapping[str, Sequence[Usage]]) -> Classification:
    """Where the backbone puts a choice; of homonyms the one with its author."""
    usages = [usage for usage in known.get(choice.name, ()) if usage.accepted is None]
    fitting = by_authorship(choice.authorship, usages)
    return fitting[0].classification if fitting else UNSTATED


def _earlier(check: NameCheck, names: set[str]) -> list[Earlier]:
    """Typed forms that were found to be one of the names, or these same words; newest first."""
    of_names = Q(scientific_name__in=names) | Q(check_of__typed=check.typed)
    found = (
        NameDecision.objects.filter(of_names, undone_by=None)
        .exclude(kind__in=_TAKEN_BACK)
        .exclude(check_of=check)
        .order_by("-decided_at", "-id")
    )
    rows = found.values_list(
        "check_of__typed", "scientific_name", "decided_at", "decided_by__name", "check_of_id"
    )
    return [Earlier(*row) for row in rows[:_EARLIER_SHOWN]]
