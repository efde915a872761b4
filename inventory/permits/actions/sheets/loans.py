"""Loans with their lots, their young, and the letters that confirmed them."""

from collections.abc import Sequence

from inventory.book.actions.load.guests import GuestLoad, GuestRow
from inventory.book.models import Lot
from inventory.book.rules.happened import end_of_day

from ...models import Loan
from ...rules.sheets import LOANS
from ..loans import LoanFacts, LoanRefused, add_young, confirm_loan, end_loan, enter_loan
from .loading import Loading, column_in


def write_loans(rows: Sequence[GuestRow], to: GuestLoad) -> None:
    """Enters loans with their lots, their young, and the letters that confirmed them."""
    loading = Loading(LOANS, to)
    for row in rows:
        values = row.values
        known = Loan.objects.filter(reference=values["reference"]).first()
        if known is not None:
            loading.tally.already_there += 1
            if (known.party, known.starts_on) != (values["party"], values["starts_on"]):
                loading.differs(row, "reference", f"the loan {values['reference']}")
            continue
        try:
            _write_loan(row, loading)
        except LoanRefused as refused:
            for problem in refused.problems:
                loading.refuse(row, column_in(LOANS, problem), problem.message)
        else:
            loading.tally.new += 1


def _write_loan(row: GuestRow, loading: Loading) -> None:
    values, who, when = row.values, loading.by(row), loading.entered(row)
    plain = (
        *("reference", "direction", "party", "agreement", "starts_on", "until", "confirm_every_months"),
        *("young_words", "young_from_day", "lots"),
    )
    stated = {name: values[name] for name in plain if name in values}
    if "young_part" in values:
        stated["lender_part"] = values["young_part"]
    loan = enter_loan(facts=LoanFacts(**stated), by=who, now=when)
    for accession, born_on in values.get("young", ()):
        lot = Lot.objects.filter(accession=accession).first()
        if lot is None:
            loading.refuse(row, "young", f"there is no lot {accession!r}")
        else:
            add_young(loan=loan, lot=lot, born_on=born_on, by=who, now=when)
    for letter_of in values.get("confirmed", ()):
        # The sheet says no more than the day of the letter: it was entered by that day's end.
        came = min(end_of_day(letter_of, loading.to.zone), loading.to.now)
        confirm_loan(loan=loan, letter_of=letter_of, by=who, now=came, zone=loading.to.zone)
    if "ended_on" in values:
        end_loan(loan=loan, on=values["ended_on"], by=who)
