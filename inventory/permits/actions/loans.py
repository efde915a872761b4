"""Loans: agreed, confirmed by letter, extended, ended; deaths told by letter; young shared."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from fractions import Fraction
from uuid import uuid4

from django.db import transaction
from django.db.models import Sum

from inventory.book.actions.post import LedgerRefused, post_events
from inventory.book.actions.register import register_lots
from inventory.book.models import Cell, Document, Event, Lot
from inventory.book.models.cells import Sex
from inventory.book.rules.drafts import DraftLine, EventDraft, Numbers, Problem
from inventory.book.rules.happened import Happened, parse_happened
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.sheets import LotRow
from inventory.db.locks import serialize_writers
from inventory.people.models import Person

from ..models import Direction, Loan, LoanConfirmation, LoanExtension, LoanLot


class LoanRefused(Exception):
    """What cannot be written of a loan; nothing was. ``problems`` say where and why."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = list(problems)


@dataclass(frozen=True, slots=True)
class LoanFacts:
    """One agreement. ``lots`` are accession numbers; ``lender_part`` of the young is the lender's."""

    reference: str
    direction: str
    party: str
    starts_on: date
    until: date | None = None
    agreement: str = ""
    confirm_every_months: int | None = None
    young_words: str = ""
    lender_part: Fraction = Fraction(0)
    young_from_day: int = 30
    lots: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class DeathTold:
    """Animals that died at the other house, as its letter says."""

    lot: str
    happened: Happened
    numbers: Numbers
    cause: str = ""


@transaction.atomic
def enter_loan(*, facts: LoanFacts, by: Person, now: datetime) -> Loan:
    """Enters an agreement. The animals go and come by events of the book. Raises :class:`LoanRefused`."""
    if Loan.objects.filter(reference=facts.reference).exists():
        raise _refused("reference", f"the loan {facts.reference} is here already")
    if facts.direction not in Direction.values:
        raise _refused("direction", f"{facts.direction!r} is none of {', '.join(Direction.values)}")
    if facts.until is not None and facts.until < facts.starts_on:
        raise _refused("until", f"it ends on {facts.until}, before it begins")
    if not 0 <= facts.lender_part <= 1:
        raise _refused("young_share", "the lender's part of the young is between none and all")
    loan = Loan.objects.create(
        reference=facts.reference,
        direction=facts.direction,
        party=facts.party,
        agreement=facts.agreement,
        starts_on=facts.starts_on,
        until=facts.until,
        confirm_every_months=facts.confirm_every_months,
        young_words=facts.young_words,
        lender_share_top=facts.lender_part.numerator,
        lender_share_bottom=facts.lender_part.denominator,
        young_from_day=facts.young_from_day,
        entered_at=now,
        entered_by=by,
    )
    _add_lots(loan, facts.lots, by=by, now=now)
    return loan


@transaction.atomic
def add_young(*, loan: Loan, lot: Lot, born_on: date, by: Person, now: datetime) -> LoanLot:
    """Puts young of lent animals under the agreement. Raises :class:`LoanRefused`."""
    if LoanLot.objects.filter(loan=loan, lot=lot).exists():
        raise _refused("lot", f"{lot.accession} is under {loan.reference} already")
    return LoanLot.objects.create(loan=loan, lot=lot, young=True, born_on=born_on, added_at=now, added_by=by)


@transaction.atomic
def confirm_loan(
    *,
    loan: Loan,
    letter_of: date,
    by: Person,
    now: datetime,
    zone: tzinfo,
    words: str = "",
    document: Document | None = None,
    deaths: Sequence[DeathTold] = (),
) -> LoanConfirmation:
    """Keeps a letter of the holder; deaths that it tells of enter the ledger, with the letter as evidence.

    The same letter twice stands once, and so do its deaths. Raises :class:`LoanRefused`.
    """
    serialize_writers()
    if letter_of > now.astimezone(zone).date():
        raise _refused("letter_of", f"the letter of {letter_of} lies in the future")
    under = set(loan.lots.values_list("lot__accession", flat=True))
    foreign = [death.lot for death in deaths if death.lot not in under]
    if foreign:
        raise _refused("lot", f"{', '.join(foreign)} is not under {loan.reference}")
    drafts = [_died(loan, death, letter_of, by) for death in deaths]
    for death in deaths:
        if death.happened.day > letter_of:
            raise _refused("died_on", f"a letter of {letter_of} cannot tell of a death on {death.happened}")
    same = LoanConfirmation.objects.filter(loan=loan, letter_of=letter_of, words=words, document=document)
    kept = next((one for one in same if _deaths_of(one) == _deaths_told(deaths)), None)
    if kept is not None:
        return kept
    events = _post(drafts, now=now, zone=zone)
    confirmation = LoanConfirmation.objects.create(
        loan=loan, letter_of=letter_of, words=words, document=document, entered_at=now, entered_by=by
    )
    confirmation.events.add(*events)
    return confirmation


def _deaths_told(deaths: Sequence[DeathTold]) -> list[tuple[str, str, int]]:
    """Of which lot, when, how many, in an order of their own."""
    return sorted((death.lot, str(death.happened), death.numbers.total) for death in deaths)


def _deaths_of(confirmation: LoanConfirmation) -> list[tuple[str, str, int]]:
    """The deaths that a letter brought into the book and that nobody took back, as :func:`_deaths_told`."""
    standing = confirmation.events.order_by().filter(reversed_by=None)
    told = standing.values_list("pk", "flows__from_cell__lot__accession", "happened")
    return sorted((lot, happened, n) for _, lot, happened, n in told.annotate(n=Sum("flows__n")))


@transaction.atomic
def extend_loan(
    *, loan: Loan, until: date, why: str, by: Person, now: datetime, document: Document | None = None
) -> LoanExtension:
    """Lets the agreement go on until another day. Raises :class:`LoanRefused`."""
    if until <= loan.starts_on:
        raise _refused("until", f"the loan began on {loan.starts_on}")
    return LoanExtension.objects.create(
        loan=loan, until=until, why=why, document=document, entered_at=now, entered_by=by
    )


@transaction.atomic
def end_loan(*, loan: Loan, on: date, by: Person) -> None:
    """Says that nothing is left of the loan. Raises :class:`LoanRefused`."""
    if on < loan.starts_on:
        raise _refused("ended_on", f"the loan began on {loan.starts_on}")
    Loan.objects.filter(pk=loan.pk, ended_on=None).update(ended_on=on, ended_by=by)


@transaction.atomic
def divide_young(
    *, young: LoanLot, to_owner: str, numbers: Numbers, place: str, by: Person, now: datetime, zone: tzinfo
) -> Lot:
    """Puts the other house's part of some young into a lot of its own, owned by it: no number changes.

    It is a matter of paper, so that more than the book has there is a slip of the pen and refused.
    Raises :class:`LoanRefused`.
    """
    lot = young.lot
    if lot.owner == to_owner:
        raise _refused("lot", f"{lot.accession} belongs to {to_owner} already")
    for column, sex in _SEX_OF_COLUMN.items():
        asked = getattr(numbers, column)
        if asked and asked > _standing(lot, place, sex):
            raise _refused(column, f"the book has fewer than {asked} of {lot.accession} in {place}")
    row = LotRow(
        accession="",
        name=lot.taxon.scientific_name,
        kind=lot.kind,
        unit=lot.unit,
        owner=to_owner,
        marks=f"part of {lot.accession} by {young.loan.reference}",
    )
    (accession,) = register_lots([row], {row.name: lot.taxon}).names
    draft = EventDraft(
        identifier=uuid4(),
        kind=EventKind.REGROUPED,
        happened=parse_happened(f"{now.astimezone(zone):%Y-%m-%dT%H:%M}"),
        entered_by=by.name,
        lines=(DraftLine(lot.accession, place, numbers, to_lot=accession),),
        party=young.loan.party,
        reason=f"young shared by {young.loan.reference}",
    )
    _post([draft], now=now, zone=zone)
    made = Lot.objects.get(accession=accession)
    LoanLot.objects.create(
        loan=young.loan, lot=made, young=True, born_on=young.born_on, added_at=now, added_by=by
    )
    return made


_SEX_OF_COLUMN = {
    "males": Sex.MALE,
    "females": Sex.FEMALE,
    "hermaphrodites": Sex.HERMAPHRODITE,
    "unknown": Sex.UNKNOWN,
}


def _standing(lot: Lot, place: str, sex: Sex) -> int:
    """How many of one sex the book has of a lot in a place now."""
    cells = Cell.objects.filter(lot=lot, inside=True, account__place__code=place, sex=sex.value)
    return sum(cells.values_list("balance", flat=True))


def _add_lots(loan: Loan, accessions: Sequence[str], *, by: Person, now: datetime) -> None:
    lots = Lot.objects.in_bulk(list(accessions), field_name="accession")
    missing = [accession for accession in accessions if accession not in lots]
    if missing:
        raise _refused("lots", f"there is no lot {', '.join(missing)}; register it first")
    LoanLot.objects.bulk_create(
        [
            LoanLot(loan=loan, lot=lots[accession], added_at=now, added_by=by)
            for accession in dict.fromkeys(accessions)
        ]
    )


def _died(loan: Loan, death: DeathTold, letter_of: date, by: Person) -> EventDraft:
    """Where the animals are by the book: at the borrower's, when that is one place."""
    cells = Cell.objects.filter(lot__accession=death.lot, inside=True, balance__gt=0)
    codes = sorted(set(cells.values_list("account__place__code", flat=True)))
    if len(codes) != 1:
        where = "is nowhere by the book" if not codes else f"is in {', '.join(map(str, codes))}"
        raise _refused("lot", f"{death.lot} {where}; record its death on its own page")
    return EventDraft(
        identifier=uuid4(),
        kind=EventKind.DIED,
        happened=death.happened,
        entered_by=by.name,
        lines=(DraftLine(death.lot, str(codes[0]), death.numbers),),
        party=loan.party,
        cause=death.cause,
        evidence=f"{loan.reference}, letter of {letter_of}",
    )


def _post(drafts: Sequence[EventDraft], *, now: datetime, zone: tzinfo) -> list[Event]:
    try:
        posted = post_events(drafts, now=now, zone=zone)
    except LedgerRefused as refused:
        raise LoanRefused(refused.problems) from refused
    return list(Event.objects.filter(pk__in=[one.event_id for one in posted]))


def _refused(column: str, message: str) -> LoanRefused:
    return LoanRefused([Problem(0, "", column, message)])
