"""Names that wait for a person: put into the queue, and decided."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from django.db import transaction

from inventory.people.models import Person

from ..models import BackboneRelease, CheckState, DecisionKind, NameCheck, NameDecision, Taxon, TaxonName
from ..queries.verdicts import known_usage, verdicts_for
from ..rules.match import Asked
from ..rules.parse import clean, parse, storable
from ..rules.verdicts import PLAIN_OPEN, UNSTATED, Verdict, VerdictKind
from .moves import move_lots
from .split import follow_decision
from .taxa import check_of, take_verdict
from .undo import ReviewError, fields_of

__all__ = ["ASKS_EACH_TIME", "ReviewError", "check_many", "review"]

# A name that means several animals is decided for these animals only, and asks again next time.
ASKS_EACH_TIME = frozenset(
    {VerdictKind.AMBIGUOUS, VerdictKind.COMMON_NAME, VerdictKind.MISAPPLIED, VerdictKind.HYBRID}
)


@transaction.atomic
def check_many(
    names: Sequence[str],
    *,
    now: datetime,
    by: Person | None = None,
    where_from: str = "",
    place: str = "",
) -> list[Verdict]:
    """One verdict for each name, in order; those that are not certain enter the review queue.

    ``place`` is the code of the tank that the names come from, if they come from one. A name that
    waits there already, exactly so typed, enters no second time; blank lines never do.
    """
    release, verdicts = verdicts_for([Asked(name) for name in names], places=[place] if place else ())
    doubtful = {storable(v.typed): v for v in verdicts if not v.is_certain and clean(v.typed)}
    waiting = NameCheck.objects.filter(typed__in=doubtful, state=CheckState.TO_REVIEW)
    for typed in waiting.values_list("typed", flat=True):
        doubtful.pop(typed, None)
    NameCheck.objects.bulk_create(
        check_of(verdict, release, taxon=None, now=now, by=by, where_from=where_from)
        for verdict in doubtful.values()
    )
    return verdicts


@transaction.atomic
def review(
    check_id: int,
    *,
    kind: DecisionKind,
    by: Person,
    now: datetime,
    name: str = "",
    authorship: str = "",
    why: str = "",
    for_next_time: bool | None = None,
) -> NameDecision:
    """A person's decision on a name in the queue.

    ``accept_suggestion`` takes the name that check or backbone suggests, ``choose`` one of the choices
    offered (``name``, and ``authorship`` among homonyms, say which), ``keep_as_typed`` leaves the name,
    ``new_accepted_name`` gives another (``name``). The last two want ``why``. A qualifier (cf.,
    "sp. A") stays with the animals, so that they are not put among the firmly identified, unless
    the new name given has none. Taxon and history follow; where the name has a taxon
    already, the lots go there. ``for_next_time``: the same typed name leads there from now on; when
    not said, it does unless the name means several animals.

    Raises :class:`ReviewError`.
    """
    check = NameCheck.objects.select_for_update().filter(pk=check_id).first()
    if check is None:
        raise ReviewError("There is no such name in the queue.")
    if check.state == CheckState.DECIDED:
        raise ReviewError(f"“{check.typed}” has been decided already.")
    release, verdict = _decided(check, kind, name=name, authorship=authorship, why=why)
    settled = _settle(check, verdict, release, by=by, now=now, why=why)
    followed = follow_decision(check, settled.taxon, now=now)
    decision = NameDecision.objects.create(
        check_of=check,
        kind=kind,
        taxon=settled.taxon,
        scientific_name=verdict.name,
        authorship=verdict.authorship,
        qualifier=verdict.qualifier[:100],
        lots_touched=len(settled.lots) + followed,
        for_next_time=check.verdict not in ASKS_EACH_TIME if for_next_time is None else for_next_time,
        decided_at=now,
        decided_by=by,
        why=why,
        former_taxon=settled.former,
        lots=settled.lots,
        before=settled.before,
    )
    check.taxon, check.state = settled.taxon, CheckState.DECIDED
    check.save(update_fields=["taxon", "state"])
    return decision


def _decided(
    check: NameCheck, kind: DecisionKind, *, name: str, authorship: str, why: str
) -> tuple[BackboneRelease | None, Verdict]:
    """What is decided, with what the current backbone knows of it; its ``name`` is the decided one."""
    release, (fresh,) = verdicts_for([Asked(check.typed)])
    name = clean(name)
    if kind == DecisionKind.KEEP_AS_TYPED:
        _wants_reason(why, "keeping a name as it was typed")
        return release, _kept(check, fresh)
    if kind == DecisionKind.NEW_ACCEPTED_NAME:
        _wants_reason(why, "another name")
        return release, _given(name, fresh)
    if kind == DecisionKind.ACCEPT_SUGGESTION:
        suggested = fresh.name or check.name
        if not suggested:
            raise ReviewError(f"There is no suggestion for “{check.typed}”: choose a name or give one.")
        if name not in ("", suggested):
            raise ReviewError(f"The suggestion is {suggested} now, not {name}. Look at the page again.")
        return release, _as_known(suggested, fresh.authorship or check.authorship, fresh)
    offered = dict.fromkeys([*(row["name"] for row in check.choices), *(one.name for one in fresh.choices)])
    if name not in offered:
        expected = (
            f"one of {', '.join(offered)}" if offered else "another way to decide: there are no choices"
        )
        raise ReviewError(f"Expected {expected}.")
    return release, _as_known(name, authorship, fresh)


def _kept(check: NameCheck, fresh: Verdict) -> Verdict:
    """The name as typed; of the backbone only where its genus stands."""
    readings = parse(check.typed).readings
    genus = known_usage(readings[0].genus) if readings else None
    return replace(
        fresh,
        name=clean(check.typed),
        authorship=readings[0].authorship if readings else "",
        rank="",
        classification=genus.classification if genus else UNSTATED,
    )


def _given(name: str, fresh: Verdict) -> Verdict:
    """A name that a person gives: in the backbone as accepted, or unknown to it."""
    parsed = parse(name)
    if not parsed.readings:
        raise ReviewError(f"Expected a scientific name, found “{name}”: {parsed.trouble or 'not one name'}.")
    reading = parsed.readings[0]
    (verdict,) = verdicts_for([Asked(name)])[1]
    if verdict.verdict is VerdictKind.SYNONYM:
        raise ReviewError(f"{reading.canonical} is a synonym of {verdict.name}: give {verdict.name}.")
    return _as_known(reading.canonical, reading.authorship, replace(fresh, qualifier=parsed.qualifier))


def _as_known(name: str, authorship: str, fresh: Verdict) -> Verdict:
    usage = known_usage(name, authorship)
    if usage is None:
        return replace(fresh, name=name, authorship=authorship, rank="", classification=UNSTATED)
    return replace(
        fresh,
        name=name,
        authorship=usage.authorship,
        rank=usage.rank,
        classification=usage.classification,
    )


def _wants_reason(why: str, what: str) -> None:
    if not why.strip():
        raise ReviewError(f"Say why: {what} needs a reason.")


@dataclass(frozen=True, slots=True)
class _Settled:
    """Where the animals stand from now on, and all that is needed to put them back."""

    taxon: Taxon
    former: Taxon | None = None
    lots: list[str] = field(default_factory=list)
    before: dict[str, Any] | None = None


def _settle(
    check: NameCheck,
    verdict: Verdict,
    release: BackboneRelease | None,
    *,
    by: Person,
    now: datetime,
    why: str,
) -> _Settled:
    name = _taxon_name(check, verdict)
    own = _placeholder(check)
    target = Taxon.objects.select_for_update().filter(scientific_name=name).first()
    if target and not own:
        return _Settled(target)
    lots = sorted(own.lots.values_list("accession", flat=True)) if own else []
    before = fields_of(own) if own else None
    if own and target and target.pk != own.pk:
        move_lots(own, target, at=now)
        own.joined_into = target
        own.save(update_fields=["joined_into"])
        return _Settled(target, own, lots, before)
    taxon = own or Taxon()
    take_verdict(taxon, verdict)
    taxon.scientific_name, taxon.joined_into = name, None
    taxon.identification_qualifier = verdict.qualifier[:40]
    taxon.save()
    TaxonName.objects.create(
        taxon=taxon,
        release=release,
        scientific_name=verdict.name,
        authorship=verdict.authorship,
        qualifier=verdict.qualifier[:100],
        since=now,
        decided_by=by,
        why=why or verdict.why,
    )
    return _Settled(taxon, own, lots, before)


def _placeholder(check: NameCheck) -> Taxon | None:
    """The taxon that stands only for what was typed.

    One that bears another name by now was decided meanwhile, from the same words typed otherwise;
    its animals are not touched again.
    """
    taxon = check.taxon
    return taxon if taxon and taxon.scientific_name == clean(check.typed)[:200] else None


def _taxon_name(check: NameCheck, verdict: Verdict) -> str:
    """The decided name; with its qualifier between the words when that says more than the genus."""
    if verdict.name == clean(check.typed):
        return verdict.name[:200]
    if verdict.qualifier.casefold().rstrip(".") in ("", *PLAIN_OPEN):
        return verdict.name[:200]
    genus, _, rest = verdict.name.partition(" ")
    return f"{genus} {verdict.qualifier} {rest}".strip()[:200]
