"""Decisions taken back: at once by whoever took them, later by opening the name again.

Nothing is erased. What takes a decision back is a decision of its own, and both stay.
"""

from collections.abc import Collection
from datetime import datetime, timedelta
from typing import Any

from django.db import transaction

from inventory.people.models import Person

from ..models import CheckState, DecisionKind, NameCheck, NameDecision, Taxon, TaxonName
from ..rules.parse import clean
from .moves import move_lots
from .split import count_as

UNDO_WITHIN = timedelta(minutes=10)
_NO_DECISIONS = (DecisionKind.UNDONE, DecisionKind.REOPENED, DecisionKind.RELEASE_ADOPTED)
_FIELDS = (
    "scientific_name",
    "authorship",
    "rank",
    "kingdom",
    "phylum",
    "class_name",
    "order",
    "family",
    "genus",
    "identification_qualifier",
    "joined_into_id",
)


class ReviewError(Exception):
    """A decision that cannot be taken; the text says what was expected."""


def fields_of(taxon: Taxon) -> dict[str, Any]:
    """What a decision may write over."""
    return {name: getattr(taxon, name) for name in _FIELDS}


def last_decision(person: Person, *, now: datetime) -> NameDecision | None:
    """The newest decision of this person that may still be undone at once. One query."""
    return (
        NameDecision.objects.filter(decided_by=person, decided_at__gt=now - UNDO_WITHIN, undone_by=None)
        .exclude(kind__in=_NO_DECISIONS)
        .select_related("check_of", "taxon")
        .order_by("-id")
        .first()
    )


@transaction.atomic
def undo_last(*, by: Person, now: datetime) -> NameDecision:
    """Takes back the newest decision of ``by`` of the last ten minutes; answers the one that does so.

    Names and lots are as they were before: a taxon that was renamed bears its old name, lots that
    were joined to another taxon stand apart again. When something else happened to them since,
    nothing is changed. Raises :class:`ReviewError`.
    """
    decision = last_decision(by, now=now)
    if decision is None:
        minutes = UNDO_WITHIN // timedelta(minutes=1)
        raise ReviewError(
            f"There is no decision of yours of the last {minutes} minutes to undo. "
            "An older one is changed by opening the name again, with a reason."
        )
    check = NameCheck.objects.select_for_update().get(pk=decision.check_of_id)
    obstacle = _obstacle(decision, check)
    if obstacle:
        raise ReviewError(f"“{check.typed}” cannot be undone: {obstacle}. Open the name again instead.")
    back = _put_back(decision, by=by, now=now, why="the decision was undone")
    return _record(decision, check, back, decision.lots, kind=DecisionKind.UNDONE, by=by, now=now, why="")


@transaction.atomic
def reopen(check_id: int, *, by: Person, now: datetime, why: str) -> NameDecision:
    """Opens a decided name again, with a reason and at any time.

    Where nothing else happened since, it is as if undone. Else the lots that stood under the typed
    name go back under it, and whatever has come to the other taxon since stays there.
    Raises :class:`ReviewError`.
    """
    check = NameCheck.objects.select_for_update().filter(pk=check_id).first()
    if check is None:
        raise ReviewError("There is no such name in the queue.")
    if check.state != CheckState.DECIDED:
        raise ReviewError(f"“{check.typed}” is open: decide it.")
    if not why.strip():
        raise ReviewError("Say why the name is opened again.")
    decision = check.decisions.filter(undone_by=None).exclude(kind__in=_NO_DECISIONS).order_by("-id").first()
    if decision is None or check.adopted_changes.exists():
        raise ReviewError(
            f"“{check.typed}” was settled by a release: that is changed by adopting a release, not here."
        )
    if _obstacle(decision, check):
        back, lots = _set_apart(decision, check, by=by, now=now, why=why)
    else:
        back, lots = _put_back(decision, by=by, now=now, why=why), decision.lots
    return _record(decision, check, back, lots, kind=DecisionKind.REOPENED, by=by, now=now, why=why)


def _obstacle(decision: NameDecision, check: NameCheck) -> str:
    """What else happened since to what the decision changed; blank when nothing did."""
    if check.adopted_changes.exists():
        return "a new release brought it up"
    if check.state != CheckState.DECIDED or check.decisions.filter(id__gt=decision.pk).exists():
        return "it was opened again or decided otherwise since"
    if decision.former_taxon is None or decision.before is None:
        return ""
    if decision.former_taxon_id == decision.taxon_id:
        return _changed_since(decision, decision.taxon)
    return _not_joined_now(decision, decision.former_taxon, decision.taxon)


def _changed_since(decision: NameDecision, taxon: Taxon) -> str:
    """For a taxon that was renamed."""
    newest = taxon.names.order_by("-id").first()
    if newest and (newest.since, newest.decided_by_id) != (decision.decided_at, decision.decided_by_id):
        return f"its name was changed again since, to {newest.scientific_name}"
    if taxon.joined_into:
        return f"it was joined to {taxon.joined_into} since"
    later = taxon.decisions.filter(id__gt=decision.pk, undone_by=None, undoes=None).select_related("check_of")
    for other in later[:1]:
        return f"“{other.check_of.typed}” was decided to be {taxon} too since"
    former_name = (decision.before or {})["scientific_name"]
    if Taxon.objects.filter(scientific_name=former_name).exclude(pk=taxon.pk).exists():
        return f"other animals came in as “{former_name}” since"
    return _other_lots(decision, taxon)


def _other_lots(decision: NameDecision, taxon: Taxon) -> str:
    now, then = set(taxon.lots.values_list("accession", flat=True)), set(decision.lots)
    if now - then:
        return f"{_listed(now - then)} came under {taxon} since"
    return f"{_listed(then - now)} stands elsewhere now" if then - now else ""


def _not_joined_now(decision: NameDecision, former: Taxon, taxon: Taxon) -> str:
    """For lots that were joined to another taxon."""
    if (
        former.joined_into_id != taxon.pk
        or former.scientific_name != (decision.before or {})["scientific_name"]
    ):
        return f"{former} went elsewhere since"
    gone = set(decision.lots) - set(taxon.lots.values_list("accession", flat=True))
    return f"{_listed(gone)} stands under another name now" if gone else ""


def _put_back(decision: NameDecision, *, by: Person, now: datetime, why: str) -> Taxon | None:
    """Restores what the decision changed; answers the taxon under which the animals stand again."""
    former = decision.former_taxon
    if former is None or decision.before is None:
        return None
    if former.pk != decision.taxon_id:
        move_lots(decision.taxon, former, at=now, accessions=decision.lots)
    for name, value in decision.before.items():
        setattr(former, name, value)
    former.save(update_fields=list(decision.before))
    if former.pk == decision.taxon_id:
        _name_again(former, by=by, now=now, why=why)
    return former


def _set_apart(
    decision: NameDecision, check: NameCheck, *, by: Person, now: datetime, why: str
) -> tuple[Taxon | None, list[str]]:
    """The lots of the typed name under a taxon of that name, away from what has joined them since."""
    current = decision.taxon.joined_into or decision.taxon
    lots = sorted(current.lots.filter(accession__in=decision.lots).values_list("accession", flat=True))
    if decision.former_taxon is None:
        return None, []
    name = clean(check.typed)[:200]
    apart = Taxon.objects.select_for_update().filter(scientific_name=name).first()
    if apart is None:
        apart = Taxon(scientific_name=name)
        count_as(apart, current)
        apart.save()
        _name_again(apart, by=by, now=now, why=why)
    if apart.joined_into_id:
        apart.joined_into = None
        apart.save(update_fields=["joined_into"])
    if apart.pk != current.pk:
        move_lots(current, apart, at=now, accessions=lots)
    return apart, lots


def _name_again(taxon: Taxon, *, by: Person, now: datetime, why: str) -> None:
    TaxonName.objects.create(
        taxon=taxon,
        scientific_name=taxon.scientific_name,
        authorship=taxon.authorship,
        qualifier=taxon.identification_qualifier,
        since=now,
        decided_by=by,
        why=why,
    )


def _record(
    decision: NameDecision,
    check: NameCheck,
    back: Taxon | None,
    lots: Collection[str],
    *,
    kind: DecisionKind,
    by: Person,
    now: datetime,
    why: str,
) -> NameDecision:
    """Writes that the decision was taken back, and puts the name into the queue again."""
    taxon = back or decision.taxon
    check.taxon, check.state = back, CheckState.TO_REVIEW
    check.save(update_fields=["taxon", "state"])
    return NameDecision.objects.create(
        check_of=check,
        kind=kind,
        undoes=decision,
        taxon=taxon,
        scientific_name=taxon.scientific_name if back else check.typed[:300],
        authorship=taxon.authorship if back else "",
        lots_touched=len(lots),
        lots=list(lots),
        former_taxon=decision.taxon,
        decided_at=now,
        decided_by=by,
        why=why,
    )


def _listed(accessions: Collection[str]) -> str:
    names = sorted(accessions)
    return f"lot {names[0]}" + (f" and {len(names) - 1} more" if len(names) > 1 else "")
