"""Restates a closed period: asked by the registrar, approved by the curator, closed in its next version."""

from datetime import datetime, tzinfo

from django.db import transaction

from inventory.book.actions.close import PeriodNotClosed, close_period
from inventory.book.models import Period
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import Census, Notice, Restatement
from ..queries.late import LatePeriod, late_in, restatement_under_way
from ..queries.settings import settings_in_use
from ..rules.who import DECIDES, SIGNS
from ..rules.words import CensusState, NoticeKind
from .allowed import require
from .refused import CensusRefused
from .signing import reopen
from .telling import tell, tie_restatement

# How the permit officer's notice begins; it is found again by this.
_TOUCHED = "{} is to be restated, which touches returns already sent: "


@transaction.atomic
def ask_restatement(*, period: Period, why: str, by: Person, now: datetime, zone: tzinfo) -> Restatement:
    """Asks the curator to restate; the closed figures stand until then. Asking again changes nothing,
    also after the approval: what comes late then joins the version that is under way.

    Where a return already sent is touched, the permit officer is told, and has to have seen it before
    the curator approves.
    """
    require(by, DECIDES, "ask for a restatement")
    version = period.versions.order_by("-number").first()
    if version is None:
        raise CensusRefused(f"{period} is not closed: late entries join it without being asked for.")
    under_way = restatement_under_way(period)
    if under_way is None and not why.strip():
        raise CensusRefused("Say why.")
    late = late_in(period, settings=settings_in_use(), zone=zone)
    if late is not None and late.touched:
        returns = "; ".join(one.words for one in late.touched)
        words = f"{_TOUCHED.format(period)}{returns}. {why.strip()}"
        tell(Role.PERMIT_OFFICER, NoticeKind.RETURN, words, by=by, now=now)
    if under_way is not None:
        return under_way
    return Restatement.objects.create(
        period=period, of_version=version, why=why.strip()[:300], asked_by=by, asked_at=now
    )


@transaction.atomic
def approve_restatement(
    *, restatement: Restatement, by: Person, now: datetime, zone: tzinfo, note: str = ""
) -> Restatement:
    """The curator approves. A period that was counted is open again until its census is signed;
    one without a census is closed at once in its next version.

    Nobody approves what they entered. Raises :class:`CensusRefused`.
    """
    require(by, SIGNS, "approve a restatement")
    held = _waiting(restatement)
    late = late_in(held.period, settings=settings_in_use(), zone=zone)
    if late is not None and any(event.entered_by_id == by.pk for event in late.events):
        raise CensusRefused(f"{by.name} entered what is to be restated; another curator approves it.")
    if held.asked_by_id == by.pk:
        raise CensusRefused(f"{by.name} asked for this restatement; another person approves it.")
    if late is not None and late.touched:
        _refuse_unseen(held, late, by)
    held.approved_by, held.approved_at, held.note = by, now, note[:300]
    held.save(update_fields=["approved_by", "approved_at", "note"])
    census = Census.objects.filter(period=held.period, state=CensusState.CLOSED.value).first()
    if census is not None:
        reopen(census=census, by=by, now=now, note=f"to be restated: {held.why}")
        return held
    try:
        version = close_period(
            held.period, closed_at=now, signed_by=by, note=f"Restated: {held.why}"[:300], zone=zone
        )
    except PeriodNotClosed as error:
        raise CensusRefused(str(error)) from error
    tie_restatement(version, by=by, now=now, zone=zone)
    return Restatement.objects.get(pk=held.pk)


@transaction.atomic
def refuse_restatement(*, restatement: Restatement, by: Person, now: datetime, note: str) -> Restatement:
    """The curator leaves the closed figures as they are, and says why; the entries stay late ones."""
    require(by, SIGNS, "refuse a restatement")
    held = _waiting(restatement)
    if not note.strip():
        raise CensusRefused("Say why.")
    held.approved_by, held.approved_at, held.refused, held.note = by, now, True, note[:300]
    held.save(update_fields=["approved_by", "approved_at", "refused", "note"])
    return held


def _refuse_unseen(held: Restatement, late: LatePeriod, by: Person) -> None:
    """A sent return is touched: the permit officer's name stands beside the curator's."""
    told = Notice.objects.filter(
        kind=NoticeKind.RETURN.value,
        words__startswith=_TOUCHED.format(held.period),
        raised_at__gte=held.asked_at,
    )
    if not told.exists():
        raise CensusRefused(
            f"{late.touched[0].words} is touched since this was asked for: ask again, so that the permit "
            "officer is told."
        )
    if not told.filter(seen_at__isnull=False).exclude(seen_by=by).exists():
        raise CensusRefused(
            f"{late.touched[0].words} is touched: the permit officer has to say first that they have seen it "
            "(To be seen by you)."
        )


def _waiting(restatement: Restatement) -> Restatement:
    held = Restatement.objects.select_for_update().select_related("period").get(pk=restatement.pk)
    if held.approved_at is not None:
        raise CensusRefused(f"The restatement of {held.period} was decided on {held.approved_at:%Y-%m-%d}.")
    return held
