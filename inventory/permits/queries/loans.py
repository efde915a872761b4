"""Loans as they stand on a day: what is where, what is overdue, whose the young are."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, tzinfo
from fractions import Fraction

from inventory.book.queries.quantities import Held, Scope, cell_balances, cell_facts, flows_of_lots
from inventory.book.queries.quantities.balances import held_sum
from inventory.book.rules.happened import end_of_day
from inventory.doors.once import once

from ..models import Direction, Loan, LoanConfirmation, LoanExtension, LoanLot
from ..rules import loans as rules
from ..rules.loans import YoungShare, share_words


@dataclass(slots=True)
class LotOnLoan:
    """One lot under an agreement, and where its animals are. ``hidden``: the reader counts some now.

    ``borrowed`` are still with the borrower and the lender's: lent by us and away, or another house's and
    here.
    """

    row: LoanLot
    held: Held
    places: tuple[str, ...]
    hidden: bool = False
    share: YoungShare | None = None
    borrowed: int = 0


@dataclass(slots=True)
class LoanRead:
    """One loan on a day. ``until`` is the last day agreed, extensions included."""

    loan: Loan
    until: date | None
    lots: list[LotOnLoan]
    letters: list[LoanConfirmation]
    extensions: list[LoanExtension]
    confirm_by: date | None
    on: date

    @property
    def lent(self) -> list[LotOnLoan]:
        """The animals lent themselves."""
        return [lot for lot in self.lots if not lot.row.young]

    @property
    def young(self) -> list[LotOnLoan]:
        """Their young."""
        return [lot for lot in self.lots if lot.row.young]

    @property
    def lent_now(self) -> int:
        """How many of the animals lent there are."""
        return sum(lot.held.total for lot in self.lent)

    @property
    def hides(self) -> bool:
        """True when the reader counts some of them."""
        return any(lot.hidden for lot in self.lent)

    @property
    def is_open(self) -> bool:
        """True until somebody says that nothing is left of it."""
        return self.loan.ended_on is None

    @property
    def overdue(self) -> bool:
        """True when it is past its last day and has not ended."""
        return self.is_open and self.until is not None and self.until < self.on

    @property
    def left_over(self) -> bool:
        """True when it has ended, and by the book some of its animals are still at the borrower's."""
        return not self.is_open and any(lot.borrowed for lot in self.lots)

    @property
    def unconfirmed(self) -> bool:
        """True when a letter is due and has not come."""
        return self.is_open and self.confirm_by is not None and self.confirm_by < self.on

    @property
    def young_part(self) -> str:
        """The lender's part of the young, in words."""
        return share_words(Fraction(self.loan.lender_share_top, self.loan.lender_share_bottom))


@dataclass(frozen=True, slots=True)
class Totals:
    """Animals by unit: here, ours, here but not ours, ours but not here."""

    unit: str
    here: int
    ours: int
    lent_to_us: int
    lent_by_us: int


@once
def read_loans(
    *, on: date, zone: tzinfo, loans: Sequence[Loan] | None = None, hidden: Collection[int] = ()
) -> list[LoanRead]:
    """Loans as they stand at the end of the day. Seven queries."""
    chosen = list(Loan.objects.order_by("starts_on", "reference") if loans is None else loans)
    ids = [loan.pk for loan in chosen]
    rows = list(LoanLot.objects.select_related("lot__taxon", "loan").filter(loan__in=ids).order_by("id"))
    letters: defaultdict[int, list[LoanConfirmation]] = defaultdict(list)
    told = LoanConfirmation.objects.select_related("entered_by", "document").prefetch_related("events")
    for letter in told.filter(loan__in=ids, letter_of__lte=on).order_by("letter_of", "id"):
        letters[letter.loan_id].append(letter)
    extensions: defaultdict[int, list[LoanExtension]] = defaultdict(list)
    for extension in LoanExtension.objects.filter(loan__in=ids).order_by("id"):
        extensions[extension.loan_id].append(extension)
    now = end_of_day(on, zone)
    of_lots = _Held({row.lot_id for row in rows}, before=now)
    held, reached = of_lots.at(now), _reached(of_lots, rows, on=on, zone=zone)
    lots: defaultdict[int, list[LotOnLoan]] = defaultdict(list)
    for row in rows:
        lots[row.loan_id].append(_lot(row, held, reached, hidden))
    return [
        LoanRead(
            loan=loan,
            until=extensions[loan.pk][-1].until if extensions[loan.pk] else loan.until,
            lots=lots[loan.pk],
            letters=letters[loan.pk],
            extensions=extensions[loan.pk],
            confirm_by=rules.confirm_by(
                loan.starts_on, [letter.letter_of for letter in letters[loan.pk]], loan.confirm_every_months
            ),
            on=on,
        )
        for loan in chosen
    ]


@dataclass(slots=True)
class _LotHeld:
    parts: list[tuple[str, str, int]] = field(default_factory=list)
    places: dict[int, str] = field(default_factory=dict)
    away: int = 0
    here: int = 0


class _Held:
    """What some lots held at any moment up to one, out of their own flows. Two queries."""

    def __init__(self, lots: Collection[int], *, before: datetime) -> None:
        self._facts = cell_facts(lots=lots)
        self._flows = flows_of_lots(lots, before=before)

    def at(self, before: datetime) -> dict[int, _LotHeld]:
        """By lot, before a moment."""
        balances: defaultdict[int, int] = defaultdict(int)
        for flow in self._flows:
            if flow.effective_at < before:
                balances[flow.to_cell] += flow.n
                balances[flow.from_cell] -= flow.n
        held: defaultdict[int, _LotHeld] = defaultdict(_LotHeld)
        for fact in self._facts.values():
            n = balances[fact.cell_id]
            if n:
                held[fact.lot_id].parts.append((fact.sex, fact.standing, n))
                held[fact.lot_id].places[fact.place_id] = fact.place_code
                if fact.off_site:
                    held[fact.lot_id].away += n
                else:
                    held[fact.lot_id].here += n
        return dict(held)


def _reached(held: _Held, rows: Sequence[LoanLot], *, on: date, zone: tzinfo) -> Mapping[int, int | None]:
    """How many of each lot of young lived to the day on which they are shared; none: it has not come.

    What was put into other lots of the same loan on that day or later is not lost: the young of one birth
    are looked at on that day, before they are shared.
    """
    reached: dict[int, int | None] = {}
    days: defaultdict[date, list[LoanLot]] = defaultdict(list)
    for row in rows:
        if row.young and row.born_on is not None:
            days[rules.shared_on(row.born_on, row.loan.young_from_day)].append(row)
    for day, young in days.items():
        if day > on:
            reached |= dict.fromkeys((row.pk for row in young), None)
            continue
        then = held.at(end_of_day(day, zone))
        for row in young:
            lot = then.get(row.lot_id)
            reached[row.pk] = held_sum(lot.parts).total if lot else 0
    return reached


def _lot(
    row: LoanLot,
    held: Mapping[int, _LotHeld],
    reached: Mapping[int, int | None],
    hidden: Collection[int],
) -> LotOnLoan:
    found = held.get(row.lot_id, _LotHeld())
    read = LotOnLoan(row, held_sum(found.parts), tuple(sorted(found.places.values())))
    read.hidden = any(place in hidden for place in found.places)
    if row.loan.direction == Direction.OUT:
        read.borrowed = 0 if row.lot.owner else found.away
    else:
        read.borrowed = found.here if row.lot.owner else 0
    if row.young and row.born_on is not None:
        loan = row.loan
        read.share = rules.share(
            row.born_on,
            from_day=loan.young_from_day,
            reached=reached[row.pk],
            lender_part=Fraction(loan.lender_share_top, loan.lender_share_bottom),
        )
    return read


def totals(*, on: date, zone: tzinfo) -> list[Totals]:
    """What is here and what is ours, by unit, at the end of the day. Two queries."""
    balances = cell_balances(before=end_of_day(on, zone))
    sums: defaultdict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for cell, fact in cell_facts(cells=balances).items():
        n = balances[cell]
        here = Scope.HERE.holds(off_site=fact.off_site, owner=fact.owner)
        ours = Scope.OURS.holds(off_site=fact.off_site, owner=fact.owner)
        for place, counts in enumerate((here, ours, here and not ours, ours and not here)):
            sums[fact.unit][place] += n if counts else 0
    return [Totals(unit, *numbers) for unit, numbers in sorted(sums.items())]
