"""Taxa for the names of a workbook: found, or made and, where the name is not certain, queued."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import Max, QuerySet
from django.db.models.functions import Coalesce

from inventory.people.models import Person

from ..models import BackboneRelease, CheckState, NameCheck, NameDecision, Taxon, TaxonName
from ..queries.verdicts import verdicts_for
from ..rules.match import Asked
from ..rules.parse import clean, storable
from ..rules.verdicts import TaxonRow, Verdict

_STATED = (
    "common_name",
    "count_class",
    "unit",
    "counts_in_from",
    "can_change_sex",
    "can_divide",
    "look_alike_set",
)
_LONGEST = 200


@transaction.atomic
def taxa_for(
    names: Sequence[TaxonRow | str], *, now: datetime, by: Person | None = None, where_from: str = ""
) -> dict[str, Taxon]:
    """A taxon for each name, by the name as given.

    A certain name (accepted, synonym, a genus with a plain "sp.") leads to the taxon of the accepted
    name. Any other stays as it was typed, its qualifier in its own field, and enters the review
    queue once; with no backbone loaded every name does. A name that was decided "for next time"
    leads where the decision says; one that waits in the queue stands where it stood. What the rows
    state of a taxon is filled in and what they leave blank is not touched, so the same rows a
    second time change nothing.

    A name that means several animals asks again each time it comes, so give only names of lots that
    are not in the book yet. Raises ``ValueError`` for a blank name; the reader of the sheet knows
    row and column.
    """
    rows = [TaxonRow(row) if isinstance(row, str) else row for row in names]
    plans = _plans(_typed_names(rows))
    taxa = {taxon.scientific_name: taxon for taxon in _existing(plans)}
    taxa |= _create([plan for plan in plans if plan.name not in taxa], now=now)
    _queue([plan for plan in plans if plan.asks], taxa, now=now, by=by, where_from=where_from)
    answer = {plan.typed: taxa[plan.name] for plan in plans}
    _state(rows, answer)
    return answer


@dataclass(frozen=True, slots=True)
class _Plan:
    """What is to happen to one typed name: the taxon's name, and whether a person is asked."""

    typed: str
    name: str
    verdict: Verdict
    release: BackboneRelease | None
    asks: bool


def _typed_names(rows: Sequence[TaxonRow]) -> list[str]:
    typed = list(dict.fromkeys(row.name for row in rows))
    if any(not clean(name) for name in typed):
        raise ValueError("A taxon has no name: expected a scientific or common name, found nothing.")
    return typed


def _plans(typed: Sequence[str]) -> list[_Plan]:
    release, verdicts = verdicts_for([Asked(name) for name in typed])
    settled = _waiting(typed) | _decided(typed)
    return [
        _Plan(
            typed=verdict.typed,
            name=settled.get(storable(verdict.typed)) or _taxon_name(verdict),
            verdict=verdict,
            release=release,
            asks=not verdict.is_certain and storable(verdict.typed) not in settled,
        )
        for verdict in verdicts
    ]


def _taxon_name(verdict: Verdict) -> str:
    return verdict.name if verdict.is_certain else clean(verdict.typed)[:_LONGEST]


def _waiting(typed: Sequence[str]) -> dict[str, str]:
    """Names of taxa by typed name, where the name waits in the queue."""
    waiting = NameCheck.objects.filter(
        typed__in=[storable(name) for name in typed], state=CheckState.TO_REVIEW, taxon__isnull=False
    )
    return dict(waiting.order_by("id").values_list("typed", "taxon__scientific_name"))


def _decided(typed: Sequence[str]) -> dict[str, str]:
    """Names of taxa by typed name, where the newest decision that stands holds for next time."""
    of_names = NameDecision.objects.filter(
        check_of__typed__in=[storable(name) for name in typed], undone_by=None, undoes=None
    )
    newest = of_names.values("check_of__typed").annotate(newest=Max("id")).order_by().values("newest")
    decisions = NameDecision.objects.filter(id__in=newest, for_next_time=True).annotate(
        leads_to=Coalesce("taxon__joined_into__scientific_name", "taxon__scientific_name")
    )
    return dict(decisions.values_list("check_of__typed", "leads_to"))


def _existing(plans: Sequence[_Plan]) -> QuerySet[Taxon]:
    return Taxon.objects.filter(scientific_name__in={plan.name for plan in plans})


def _create(plans: Sequence[_Plan], *, now: datetime) -> Mapping[str, Taxon]:
    wanted = {plan.name: plan for plan in reversed(plans)}
    taxa = Taxon.objects.bulk_create([_new_taxon(plan) for plan in wanted.values()])
    TaxonName.objects.bulk_create(
        TaxonName(
            taxon=taxon,
            release=plan.release,
            scientific_name=taxon.scientific_name,
            authorship=taxon.authorship,
            qualifier=taxon.identification_qualifier,
            since=now,
            why=plan.verdict.why,
        )
        for taxon, plan in zip(taxa, wanted.values(), strict=True)
    )
    return {taxon.scientific_name: taxon for taxon in taxa}


def _new_taxon(plan: _Plan) -> Taxon:
    verdict = plan.verdict
    taxon = Taxon(identification_qualifier=verdict.qualifier[:40])
    if verdict.is_certain or verdict.keeps_qualifier:
        take_verdict(taxon, verdict)
    taxon.scientific_name = plan.name
    return taxon


def take_verdict(taxon: Taxon, verdict: Verdict) -> None:
    """Writes authorship, rank and classification of a verdict on a taxon, unsaved; not the name."""
    known = verdict.classification
    taxon.authorship, taxon.rank = verdict.authorship[:200], verdict.rank
    taxon.kingdom, taxon.phylum, taxon.class_name = known.kingdom, known.phylum, known.class_name
    taxon.order, taxon.family, taxon.genus = known.order, known.family, known.genus


def _queue(
    plans: Sequence[_Plan],
    taxa: Mapping[str, Taxon],
    *,
    now: datetime,
    by: Person | None,
    where_from: str,
) -> None:
    NameCheck.objects.bulk_create(
        check_of(
            plan.verdict,
            plan.release,
            taxon=taxa[plan.name],
            now=now,
            by=by,
            where_from=where_from,
        )
        for plan in plans
    )


def check_of(
    verdict: Verdict,
    release: BackboneRelease | None,
    *,
    taxon: Taxon | None,
    now: datetime,
    by: Person | None,
    where_from: str,
) -> NameCheck:
    """The verdict as a row of the review queue, unsaved."""
    return NameCheck(
        typed=storable(verdict.typed),
        verdict=verdict.verdict.value,
        release=release,
        name=verdict.name,
        authorship=verdict.authorship,
        rank=verdict.rank,
        qualifier=verdict.qualifier[:100],
        choices=[choice.as_dict() for choice in verdict.choices],
        why=storable(verdict.why),
        where_from=where_from[:300],
        asked_at=now,
        asked_by=by,
        taxon=taxon,
    )


def _state(rows: Sequence[TaxonRow], taxa: Mapping[str, Taxon]) -> None:
    """Fills in what the rows say; writes only taxa that change."""
    changed: dict[int, Taxon] = {}
    for row in rows:
        taxon = taxa[row.name]
        for field in _STATED:
            stated = getattr(row, field)
            if stated not in (None, "") and stated != getattr(taxon, field):
                setattr(taxon, field, stated)
                changed[taxon.pk] = taxon
    if changed:
        Taxon.objects.bulk_update(changed.values(), _STATED)
