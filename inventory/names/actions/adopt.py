"""Takes a loaded release into use: one transaction, written down as an event."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction
from django.db.models import CharField, Value
from django.db.models.functions import Cast, Concat

from inventory.people.models import Person
from inventory.people.queries import roles_of
from inventory.people.rules.roles import Role

from ..models import (
    AdoptedChange,
    BackboneRelease,
    CheckState,
    DecisionKind,
    NameCheck,
    NameDecision,
    ReleaseAdoption,
    Taxon,
    TaxonName,
)
from ..queries.compare import Comparison, Seen, compared
from ..rules.compare import Consequence
from ..rules.verdicts import Choice, Usage, VerdictKind
from .moves import move_lots
from .split import Answers, settle_lots, sort_answers
from .usages import RANKS, take_usage

ADOPTERS = frozenset({Role.REGISTRAR, Role.CURATOR})
_FIELDS = ("scientific_name", "authorship", "rank", *RANKS)


class AdoptionRefused(Exception):
    """The release is not taken into use; the text says why and what to do. Nothing was changed."""


@dataclass(frozen=True, slots=True)
class Adopted:
    """What an adoption did: names that followed, names that a person is asked for, lots moved."""

    adoption: ReleaseAdoption
    followed: int
    asked: int
    lots_moved: int


@transaction.atomic
def adopt(
    release: BackboneRelease,
    *,
    by: Person,
    now: datetime,
    decisions: Mapping[str, str] | None = None,
    against: int | None = None,
) -> Adopted:
    """Takes ``release`` into use, with all that it changes for the names in use.

    Names follow where they followed before; merged taxa give their lots to the one that stays; what
    is split, gone or in doubt enters the review queue. ``decisions`` answers splits: the accepted
    name by accession number of the lot. ``against`` is the release that was in use when the person
    looked. No count changes, and permits and typed names stay as they are. The number of queries
    does not grow with the names that follow.

    Raises :class:`AdoptionRefused`, and :class:`~inventory.names.store.sqlite.StoreMissing` when the
    names of one of the two releases are not on this machine.
    """
    if by.user is None or roles_of(by.user).isdisjoint(ADOPTERS):
        raise AdoptionRefused(f"{by.name} is neither registrar nor curator; one of them adopts a release.")
    current = _current_locked()
    if current is not None and current.pk == release.pk:
        raise AdoptionRefused(f"{release} is in use already{_since(release)}. Nothing was changed.")
    if against is not None and (current is None or current.pk != against):
        raise AdoptionRefused(f"{current} has come into use since this was looked at. Look again.")
    comparison = compared(release, current)
    answers = _sorted(comparison, decisions or {})
    adoption = switch(release, current, by=by, now=now, counts=comparison.counts)
    return _Adoption(adoption, comparison, answers, by=by, now=now).apply()


def switch(
    release: BackboneRelease,
    current: BackboneRelease | None,
    *,
    by: Person | None,
    now: datetime,
    counts: Mapping[str, int],
) -> ReleaseAdoption:
    """Makes ``release`` the one in use and writes it down; ``by`` none when it came so by itself."""
    BackboneRelease.objects.filter(is_current=True).update(is_current=False)
    release.is_current = True
    release.save(update_fields=["is_current"])
    return ReleaseAdoption.objects.create(
        release=release, from_release=current, by=by, at=now, counts=dict(counts)
    )


def _current_locked() -> BackboneRelease | None:
    releases = list(BackboneRelease.objects.select_for_update().order_by("id"))
    return next((release for release in releases if release.is_current), None)


def _since(release: BackboneRelease) -> str:
    adoption = release.adoptions.select_related("by").order_by("-at", "-id").first()
    if adoption is None:
        return ""
    return f" since {adoption.at:%Y-%m-%d}, " + (
        f"adopted by {adoption.by}" if adoption.by else "when it was loaded"
    )


def _sorted(comparison: Comparison, decisions: Mapping[str, str]) -> Answers:
    try:
        return sort_answers(comparison.seen, decisions)
    except ValueError as error:
        raise AdoptionRefused(f"{error} Nothing was changed.") from None


class _Adoption:
    """One adoption while it is written."""

    def __init__(
        self,
        adoption: ReleaseAdoption,
        comparison: Comparison,
        answers: Answers,
        *,
        by: Person,
        now: datetime,
    ) -> None:
        self.adoption, self.by, self.now, self.answers = adoption, by, now, answers
        self.release = comparison.release
        self.followed = [one for one in comparison.seen if not one.change.consequence.asks]
        self.asked = [one for one in comparison.seen if one.change.consequence.asks]
        ids = {one.change.taxon_id for one in comparison.seen}
        ids |= {one.change.into for one in comparison.seen if one.change.into}
        self.taxa = Taxon.objects.select_for_update().in_bulk(ids)
        self.moved: dict[int, list[str]] = {}
        self.before = {pk: _values(taxon) for pk, taxon in self.taxa.items()}

    def apply(self) -> Adopted:
        """Names first, then merges, then the rows that tell what was done."""
        self._rename()
        moved = self._merge()
        self._name_history()
        followed = list(zip(self.followed, self._record_followed(), strict=True))
        asked = list(zip(self.asked, self._record_asked(), strict=True))
        self._record([*followed, *asked])
        moved += settle_lots(self.answers, asked, self.taxa, by=self.by, now=self.now, release=self.release)
        return Adopted(self.adoption, len(self.followed), len(self.asked), moved)

    def _rename(self) -> None:
        """All at once, over names that nobody bears: two names may change places."""
        changed = []
        for one in self.followed:
            change, target = one.change, one.change.target
            if target is None or change.into is not None:
                continue
            taxon = self.taxa[change.taxon_id]
            taxon.scientific_name = change.new_name
            take_usage(taxon, target)
            changed.append(taxon)
        wanted = {taxon.scientific_name for taxon in changed}
        # A taxon that was joined into another keeps its row; the name is needed by a living one now.
        for taxon in Taxon.objects.filter(scientific_name__in=wanted).exclude(pk__in=[t.pk for t in changed]):
            freed = self.taxa.setdefault(taxon.pk, taxon)
            freed.scientific_name = f"{freed.scientific_name[:180]} [joined, {freed.pk}]"
            changed.append(freed)
        aside = Concat(Value("renaming "), Cast("pk", CharField()))
        Taxon.objects.filter(pk__in=[taxon.pk for taxon in changed]).update(scientific_name=aside)
        Taxon.objects.bulk_update(changed, _FIELDS)

    def _merge(self) -> int:
        for one in self.followed:
            into = one.change.into
            if into is not None:
                taxon, to = self.taxa[one.change.taxon_id], self.taxa[into]
                self.moved[taxon.pk] = move_lots(taxon, to, at=self.now)
                taxon.joined_into = to
                taxon.save(update_fields=["joined_into"])
        return sum(map(len, self.moved.values()))

    def _name_history(self) -> None:
        TaxonName.objects.bulk_create(
            TaxonName(
                taxon=self.taxa[one.change.taxon_id],
                release=self.release,
                scientific_name=target.canonical_name,
                authorship=target.authorship[:300],
                qualifier=self.taxa[one.change.taxon_id].identification_qualifier,
                since=self.now,
                decided_by=self.by,
                why=one.change.why,
            )
            for one in self.followed
            if (target := one.change.target) and _is_renamed(one, target)
        )

    def _record_followed(self) -> list[NameCheck]:
        """A decided row of the queue and its decision for each name that follows."""
        checks = NameCheck.objects.bulk_create(
            self._check(one, VerdictKind.ACCEPTED if _keeps_name(one) else VerdictKind.SYNONYM)
            for one in self.followed
        )
        NameDecision.objects.bulk_create(
            NameDecision(
                check_of=check,
                kind=DecisionKind.RELEASE_ADOPTED,
                taxon_id=one.change.into or one.change.taxon_id,
                scientific_name=one.change.target.canonical_name if one.change.target else one.change.name,
                authorship=check.authorship,
                qualifier=check.qualifier,
                lots_touched=one.n_lots,
                lots=self.moved.get(one.change.taxon_id, []),
                former_taxon_id=one.change.taxon_id if one.change.into else None,
                decided_at=self.now,
                decided_by=self.by,
                why=f"{self.release}: {one.change.why}",
            )
            for one, check in zip(self.followed, checks, strict=True)
        )
        return checks

    def _record_asked(self) -> list[NameCheck]:
        gone = Consequence.GONE
        return NameCheck.objects.bulk_create(
            self._check(
                one,
                VerdictKind.NOT_FOUND if one.change.consequence is gone else VerdictKind.AMBIGUOUS,
                state=CheckState.TO_REVIEW,
            )
            for one in self.asked
        )

    def _check(self, one: Seen, verdict: VerdictKind, state: CheckState = CheckState.DECIDED) -> NameCheck:
        change, target = one.change, one.change.target
        return NameCheck(
            typed=change.typed or change.name,
            verdict=verdict.value,
            release=self.release,
            name=target.canonical_name if target else "",
            authorship=target.authorship[:300] if target else "",
            rank=target.rank if target else "",
            qualifier=self.taxa[change.taxon_id].identification_qualifier,
            choices=[_choice(usage).as_dict() for usage in change.choices],
            why=change.why,
            where_from=f"adoption of {self.release}"[:300],
            asked_at=self.now,
            asked_by=self.by,
            taxon_id=change.into or change.taxon_id,
            state=state,
        )

    def _record(self, done: Iterable[tuple[Seen, NameCheck]]) -> None:
        AdoptedChange.objects.bulk_create(
            AdoptedChange(
                adoption=self.adoption,
                taxon_id=one.change.taxon_id,
                consequence=one.change.consequence.value,
                before=self.before[one.change.taxon_id],
                after=_values(self.taxa[one.change.into or one.change.taxon_id]),
                why="; ".join((one.change.why, *one.change.also)),
                n_lots=one.n_lots,
                n_held=one.n_held,
                permits=list(one.permits),
                lots=[lot.accession for lot in one.lots],
                check_of=check,
            )
            for one, check in done
        )


def _values(taxon: Taxon) -> dict[str, str]:
    return {field: getattr(taxon, field) for field in _FIELDS}


def _keeps_name(one: Seen) -> bool:
    return one.change.new_name == one.change.name


def _is_renamed(one: Seen, target: Usage) -> bool:
    return not _keeps_name(one) or target.authorship[:200] not in ("", one.change.authorship)


def _choice(usage: Usage) -> Choice:
    return Choice(usage.canonical_name, usage.authorship, usage.rank, usage.classification.phylum)
