"""Lots of a name that a release splits: each goes to the taxon that a person says."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime

from inventory.people.models import Person

from ..models import (
    AdoptedChange,
    BackboneRelease,
    CheckState,
    DecisionKind,
    NameCheck,
    NameDecision,
    Taxon,
    TaxonName,
)
from ..queries.compare import Seen, choice_of
from ..rules.compare import Consequence
from ..rules.full_name import full_name
from ..rules.verdicts import Usage
from .moves import move_lots
from .usages import take_usage

Answers = Mapping[tuple[int, str], Mapping[str, Sequence[str]]]
"""Accession numbers by chosen name, by taxon and typed name of the split."""

_SETTINGS = (
    "common_name",
    "count_class",
    "unit",
    "counts_in_from",
    "can_change_sex",
    "can_divide",
    "look_alike_set",
)


def sort_answers(seen: Sequence[Seen], decisions: Mapping[str, str]) -> Answers:
    """Answers by split. Raises ``ValueError`` for a lot that is not asked, or a name not offered."""
    asked = {lot.accession: one.change for one in reversed(seen) for lot in one.lots}
    sorted_: dict[tuple[int, str], dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for accession, name in decisions.items():
        change = asked.get(accession)
        if change is None:
            known = ", ".join(sorted(asked)) or "none"
            raise ValueError(f"Lot {accession} is not asked for; lots of split names are: {known}.")
        if choice_of(change, name) is None:
            offered = ", ".join(usage.canonical_name for usage in change.choices)
            raise ValueError(f"Lot {accession}: expected one of {offered}, found “{name}”.")
        sorted_[change.taxon_id, change.typed][name].append(accession)
    return sorted_


def settle_lots(
    answers: Answers,
    asked: Sequence[tuple[Seen, NameCheck]],
    taxa: Mapping[int, Taxon],
    *,
    by: Person,
    now: datetime,
    release: BackboneRelease,
) -> int:
    """Moves the answered lots; a split whose lots are all answered leaves the queue. Answers lots moved."""
    moved = 0
    for one, check in asked:
        answered = answers.get((one.change.taxon_id, one.change.typed), {})
        taxon = taxa[one.change.taxon_id]
        for name, accessions in answered.items():
            usage = choice_of(one.change, name)
            assert usage is not None, "sorted answers are among the choices"
            to = _taxon_of(usage, taxon, by=by, now=now, release=release, why=one.change.why)
            if to.pk != taxon.pk:
                moved += len(move_lots(taxon, to, at=now, accessions=accessions))
            NameDecision.objects.create(
                check_of=check,
                kind=DecisionKind.CHOOSE,
                taxon=to,
                scientific_name=usage.canonical_name,
                authorship=usage.authorship[:300],
                qualifier=check.qualifier,
                lots_touched=len(accessions),
                lots=list(accessions),
                former_taxon=taxon,
                decided_at=now,
                decided_by=by,
                why=f"lots {', '.join(accessions)}",
            )
        if answered and sum(map(len, answered.values())) == one.n_lots:
            check.state = CheckState.DECIDED
            check.save(update_fields=["state"])
    return moved


def _taxon_of(
    usage: Usage, source: Taxon, *, by: Person, now: datetime, release: BackboneRelease, why: str
) -> Taxon:
    """The taxon of a chosen name; made when there is none, counted as the one it comes from."""
    name = full_name(usage.canonical_name, source.identification_qualifier)[:200]
    taxon = Taxon.objects.select_for_update().filter(scientific_name=name).first()
    if taxon is not None and taxon.joined_into_id is None:
        return taxon
    taxon = taxon or Taxon(scientific_name=name, identification_qualifier=source.identification_qualifier)
    taxon.joined_into = None
    count_as(taxon, source)
    take_usage(taxon, usage)
    taxon.save()
    TaxonName.objects.create(
        taxon=taxon,
        release=release,
        scientific_name=usage.canonical_name,
        authorship=usage.authorship[:300],
        qualifier=source.identification_qualifier,
        since=now,
        decided_by=by,
        why=why,
    )
    return taxon


def count_as(taxon: Taxon, source: Taxon) -> None:
    """Takes over how ``source`` is counted, unsaved."""
    for field in _SETTINGS:
        setattr(taxon, field, getattr(source, field))


def follow_decision(check: NameCheck, taxon: Taxon, *, now: datetime) -> int:
    """Lots that a release's split left in the queue go where the decision on their typed name leads.

    Answers how many; none for any other check, whose lots the review itself moves.
    """
    change = (
        AdoptedChange.objects.filter(check_of=check, consequence=Consequence.SPLIT.value)
        .select_related("taxon")
        .first()
    )
    if change is None or change.taxon_id == taxon.pk or check.typed == change.before["scientific_name"]:
        return 0
    if not taxon.count_class and not taxon.lots.exists():
        count_as(taxon, change.taxon)
        taxon.save(update_fields=_SETTINGS)
    return len(move_lots(change.taxon, taxon, at=now, accessions=change.lots))
