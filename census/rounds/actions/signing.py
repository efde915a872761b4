"""The end of a census: signed and closed, reopened, or abandoned."""

from datetime import datetime, tzinfo

from django.db import transaction

from inventory.book.actions.close import PeriodNotClosed, close_period
from inventory.book.models import PeriodVersion
from inventory.people.models import Person
from inventory.people.rules.roles import Role

from ..models import Census, Restatement, SignedWithoutSample
from ..queries.approvers import has_role
from ..queries.draws import draws_of
from ..queries.open_items import open_items
from ..queries.reading import read_census
from ..rules.settings import CensusSettings
from ..rules.states import CENSUS_NEXT
from ..rules.who import DECIDES, SIGNS
from ..rules.words import CensusState, Drawn
from .allowed import require
from .moving import move_census, running
from .refused import CensusRefused
from .telling import tie_restatement


@transaction.atomic
def propose(*, census: Census, by: Person, now: datetime, settings: CensusSettings | None = None) -> Census:
    """The registrar proposes closing: the census waits for the curator's signature."""
    require(by, DECIDES, "propose closing")
    census = running(census)
    _from_comparing_on(census)
    _refuse_open(census, settings)
    move_census(census, CensusState.WAITING)
    return census


@transaction.atomic
def sign(
    *,
    census: Census,
    by: Person,
    now: datetime,
    zone: tzinfo,
    note: str = "",
    without_sample: str = "",
    settings: CensusSettings | None = None,
) -> PeriodVersion:
    """The curator signs: the period is closed in its next version, and the census with it.

    Where no sample test was drawn, ``without_sample`` says why it is signed all the same; that is kept.

    Raises :class:`CensusRefused` with every open item: sheets out, lines not counted or not
    settled, balances below zero, animals in the book that no line counts.
    """
    census = running(census)
    if not has_role(by, Role.CURATOR):
        raise CensusRefused(f"{by.name} is not a curator; the curator signs.")
    _from_comparing_on(census)
    _refuse_open(census, settings)
    _sampled_or_said_why(census, without_sample, by=by, now=now)
    try:
        said = _with_its_reason(census, note)
        version = close_period(census.period, closed_at=now, signed_by=by, note=said, zone=zone)
    except PeriodNotClosed as error:
        raise CensusRefused(str(error)) from error
    move_census(census, CensusState.WAITING)
    move_census(census, CensusState.CLOSED)
    census.version = version
    census.save(update_fields=["version"])
    tie_restatement(version, by=by, now=now, zone=zone)
    return version


@transaction.atomic
def send_back(*, census: Census, by: Person, now: datetime, note: str) -> Census:
    """The curator does not sign, and says why; the registrar settles further."""
    require(by, SIGNS, "send a census back")
    return _jump(census, CensusState.SETTLING, f"Sent back by {by.name}: {note}", note)


@transaction.atomic
def reopen(*, census: Census, by: Person, now: datetime, note: str) -> Census:
    """The curator reopens a closed census; its next signature makes the next version."""
    if not has_role(by, Role.CURATOR):
        raise CensusRefused(f"{by.name} is not a curator; the curator reopens.")
    return _jump(census, CensusState.REOPENED, f"Reopened by {by.name}: {note}", note)


@transaction.atomic
def abandon(*, census: Census, by: Person, now: datetime, note: str) -> Census:
    """Gives the census up, with the reason; refused once a decision has posted to the book."""
    require(by, DECIDES, "abandon a census")
    if census.sheets.filter(lines__decisions__events__isnull=False).exists():
        raise CensusRefused(
            f"{census.code} has posted to the book; settle and sign it, or reverse those events first."
        )
    return _jump(census, CensusState.ABANDONED, f"Abandoned by {by.name}: {note}", note)


def _with_its_reason(census: Census, note: str) -> str:
    """A version that restates says why, whatever else the curator notes at the signature."""
    approved = Restatement.objects.filter(
        period=census.period, approved_at__isnull=False, refused=False, new_version=None
    ).last()
    return "; ".join(part for part in (approved and f"Restated: {approved.why}", note.strip()) if part)[:300]


def _from_comparing_on(census: Census) -> None:
    if census.state in (CensusState.PLANNED, CensusState.ISSUED, CensusState.COUNTING):
        raise CensusRefused(f"The census {census.code} is {census.state}; compare the counts first.")


def _refuse_open(census: Census, settings: CensusSettings | None) -> None:
    items = open_items(census, read_census(census, settings=settings))
    if items:
        raise CensusRefused(*(f"{item.kind}: {item.text}" for item in items))


def _sampled_or_said_why(census: Census, why: str, *, by: Person, now: datetime) -> None:
    if draws_of(census, Drawn.SAMPLE).exists():
        return
    if not why.strip():
        raise CensusRefused(
            f"No sample test was drawn in {census.code}: draw one, or say why it is signed without."
        )
    SignedWithoutSample.objects.create(census=census, why=why.strip()[:300], by=by, at=now)


def _jump(census: Census, goal: CensusState, line: str, note: str) -> Census:
    """One step that is not simply forward, with a line in the census's note."""
    if not note.strip():
        raise CensusRefused("Say why.")
    census = Census.objects.select_for_update().get(pk=census.pk)
    if goal not in CENSUS_NEXT[CensusState(census.state)]:
        raise CensusRefused(f"The census {census.code} is {census.state}; it cannot become {goal.value}.")
    census.state = goal.value
    census.note = "\n".join(part for part in (census.note, line) if part)
    census.save(update_fields=["state", "note"])
    return census
