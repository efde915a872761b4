"""Loans: the list with totals here and ours, one agreement, letters, extensions, young."""

from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from inventory.book import blind
from inventory.book.actions.documents import DocumentRefused, keep_document
from inventory.book.models import Lot
from inventory.book.rules.kinds import EventKind
from inventory.doors import clock
from inventory.people.access import may, person_of, requires

from ..actions.loans import (
    LoanRefused,
    add_young,
    confirm_loan,
    divide_young,
    end_loan,
    enter_loan,
    extend_loan,
)
from ..forms.loans import DivideForm, EndForm, ExtendForm, LetterForm, LoanForm, YoungForm
from ..forms.parts import add_problems
from ..models import Direction, Loan
from ..queries.loans import read_loans, totals
from ..queries.transport import departures_of
from ..who import KEEPS

# The forms of a loan's page: heading, and what its button says.
_WRITES = {
    "letter": ("A letter has come", "Keep the letter"),
    "extend": ("It goes on", "Extend"),
    "young": ("Young were born", "Put them under the agreement"),
    "divide": ("The other house's part of the young", "Put it into a lot of its own"),
    "end": ("Nothing is left of it", "The loan has ended"),
}
# How animals that are still with the borrower go back to the lender.
_WAY_BACK = {
    Direction.OUT: {"kind": EventKind.BACK_FROM_LOAN.value, "words": "back from loan"},
    Direction.IN: {"kind": EventKind.GIVEN_BACK.value, "words": "given back"},
}


@require_safe
@requires()
def loans(request: HttpRequest) -> HttpResponse:
    """Every loan: what is overdue first, and what is here and what is ours."""
    today, zone = timezone.localdate(clock.now()), timezone.get_current_timezone()
    hidden = blind.hidden_from(person_of(request.user))
    rows = read_loans(on=today, zone=zone, hidden=hidden)
    rows.sort(key=lambda row: (not row.is_open, not row.overdue, not row.unconfirmed, row.loan.starts_on))
    context = {
        "rows": rows,
        # Who counts would learn the tank's number as a difference of sums.
        "totals": [] if hidden else totals(on=today, zone=zone),
        "may_keep": may(request, *KEEPS),
    }
    return render(request, "permits/loans.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@requires(*KEEPS)
def enter(request: HttpRequest) -> HttpResponse:
    """Enters an agreement; the animals go and come by events of the book."""
    form = LoanForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            made = enter_loan(facts=form.facts(), by=person_of(request.user), now=clock.now())
        except LoanRefused as refused:
            add_problems(form, refused.problems)
        else:
            messages.success(request, f"{made.reference} is entered.")
            return redirect("loan", pk=made.pk)
    return render(request, "permits/enter_loan.html", {"form": form})


@require_http_methods(["GET", "HEAD", "POST"])
@requires(writes=KEEPS)
def loan(request: HttpRequest, pk: int) -> HttpResponse:
    """One agreement: what is where, its letters, its young; who keeps it writes here."""
    found = get_object_or_404(Loan, pk=pk)
    today, zone = timezone.localdate(clock.now()), timezone.get_current_timezone()
    hidden = blind.hidden_from(person_of(request.user))
    (read,) = read_loans(on=today, zone=zone, loans=[found], hidden=hidden)
    may_keep = may(request, *KEEPS)
    asked = request.POST.get("do", "") if may_keep else ""
    forms: dict[str, Any] = {
        "letter": LetterForm(*_sent(request, asked == "letter"), lots=read.lots, prefix="letter"),
        "extend": ExtendForm(_sent(request, asked == "extend")[0], prefix="extend"),
        "young": YoungForm(_sent(request, asked == "young")[0], prefix="young"),
        "divide": DivideForm(_sent(request, asked == "divide")[0], young=read.young, prefix="divide"),
        "end": EndForm(_sent(request, asked == "end")[0], prefix="end"),
    }
    if asked in forms and forms[asked].is_valid() and _write(request, found, asked, forms[asked]):
        return redirect("loan", pk=pk)
    # A loan that has ended goes on no more; a letter may still tell of what was left over.
    gone = {"extend", "end"} if not read.is_open else set()
    gone |= set() if read.young else {"divide"}
    writes = [(do, forms[do], *words) for do, words in _WRITES.items() if do not in gone]
    context = {
        "read": read,
        "loan": found,
        "forms": may_keep,
        "writes": writes,
        "departures": departures_of(found),
        "way_back": _WAY_BACK[Direction(found.direction)],
    }
    return render(request, "permits/loan.html", context)


def _sent(request: HttpRequest, this: bool) -> tuple[Any, Any]:
    return (request.POST, request.FILES) if this else (None, None)


def _write(request: HttpRequest, found: Loan, asked: str, form: Any) -> bool:
    """Does what a form of the page asks; false when it was refused, and the form says why."""
    said, person, now = form.cleaned_data, person_of(request.user), clock.now()
    try:
        if asked == "letter":
            file = said["file"]
            # A letter that is refused is no letter of the house.
            with transaction.atomic():
                document = file and keep_document(name=file.name, content=file.read(), by=person, now=now)
                confirm_loan(
                    loan=found,
                    letter_of=said["letter_of"],
                    words=said["words"],
                    document=document or None,
                    deaths=form.deaths(),
                    by=person,
                    now=now,
                    zone=timezone.get_current_timezone(),
                )
            messages.success(request, f"The letter of {said['letter_of']} is kept.")
        elif asked == "extend":
            extend_loan(loan=found, until=said["until"], why=said["why"], by=person, now=now)
            messages.success(request, f"{found.reference} goes on until {said['until']}.")
        elif asked == "end":
            end_loan(loan=found, on=said["on"], by=person)
            messages.success(request, f"{found.reference} has ended.")
        elif asked == "divide":
            young = form.young[said["lot"]]
            made = divide_young(
                young=young.row,
                to_owner=found.party,
                numbers=form.numbers(),
                place=young.places[0],
                by=person,
                now=now,
                zone=timezone.get_current_timezone(),
            )
            messages.success(request, f"{made.accession} belongs to {made.owner}.")
        else:
            lot = Lot.objects.filter(accession=said["lot"]).first()
            if lot is None:
                form.add_error("lot", f"There is no lot {said['lot']}.")
                return False
            add_young(loan=found, lot=lot, born_on=said["born_on"], by=person, now=now)
            messages.success(request, f"{lot.accession} is under {found.reference}.")
    except DocumentRefused as refused:
        form.add_error("file", str(refused))
        return False
    except LoanRefused as refused:
        add_problems(form, refused.problems)
        return False
    return True
