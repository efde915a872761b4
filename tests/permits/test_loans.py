"""Loans: owner and holder apart, letters, deaths told by letter, young by agreement."""

from datetime import date
from fractions import Fraction

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.book.models import Document, Event, Lot, Place
from inventory.book.rules.drafts import Numbers
from inventory.book.rules.happened import parse_happened
from inventory.permits.actions.loans import (
    DeathTold,
    LoanFacts,
    LoanRefused,
    add_young,
    confirm_loan,
    divide_young,
    end_loan,
    enter_loan,
    extend_loan,
)
from inventory.permits.models import Loan, LoanConfirmation
from inventory.permits.queries.loans import LoanRead, read_loans, totals

from .. import factories
from .house import PermitHouse

DAY = date(2026, 10, 6)


@pytest.fixture
def lent(house: PermitHouse) -> Loan:
    """Two rays of ours, at the borrower's since May 2025 for a year, confirmed each quarter."""
    away = Place.objects.get(code="LO")
    lots = [factories.make_lot(f"R{n}", kind="individual") for n in (1, 2)]
    for lot in lots:
        factories.make_event("received", lot=lot, place="E02", females=1, happened="2025-05-01")
        factories.make_event(
            "loan_out",
            lot=lot,
            place="E02",
            to_place=away,
            females=1,
            happened="2025-05-12",
            party="A Sea Hall",
        )
    return enter_loan(
        facts=LoanFacts(
            reference="L1",
            direction="out",
            party="A Sea Hall",
            starts_on=date(2025, 5, 12),
            until=date(2026, 5, 11),
            confirm_every_months=3,
            lots=[lot.accession for lot in lots],
        ),
        by=house.officer,
        now=house.now,
    )


@pytest.fixture
def borrowed(house: PermitHouse) -> Loan:
    """Two seahorses of another house, here for two years; half of the young are theirs from day 30."""
    lot = factories.make_lot("S1", owner="A Sea Centre")
    factories.make_event("loan_in", lot=lot, place="E02", males=1, females=1, happened="2026-02-03")
    return enter_loan(
        facts=LoanFacts(
            reference="L2",
            direction="in",
            party="A Sea Centre",
            starts_on=date(2026, 2, 3),
            until=date(2028, 2, 2),
            lender_part=Fraction(1, 2),
            lots=["S1"],
        ),
        by=house.officer,
        now=house.now,
    )


def _read(house: PermitHouse, loan: Loan, on: date = DAY) -> LoanRead:
    return read_loans(on=on, zone=house.zone, loans=[loan])[0]


def test_a_loan_past_its_day_is_overdue_until_it_is_extended_or_ended(house: PermitHouse, lent: Loan) -> None:
    assert not _read(house, lent, date(2026, 5, 11)).overdue
    assert _read(house, lent, date(2026, 5, 12)).overdue
    extend_loan(loan=lent, until=date(2027, 5, 11), why="their letter", by=house.officer, now=house.now)
    assert (_read(house, lent).until, _read(house, lent).overdue) == (date(2027, 5, 11), False)
    end_loan(loan=lent, on=DAY, by=house.officer)
    lent.refresh_from_db()
    assert not _read(house, lent, date(2028, 1, 1)).overdue


def test_a_loan_that_ended_while_animals_are_still_away_is_told(house: PermitHouse, lent: Loan) -> None:
    end_loan(loan=lent, on=DAY, by=house.officer)
    lent.refresh_from_db()
    read = _read(house, lent)
    assert read.lent_now == sum(lot.borrowed for lot in read.lent) > 0
    assert read.left_over


def test_a_loan_that_ended_with_everything_given_back_is_silent(house: PermitHouse, borrowed: Loan) -> None:
    end_loan(loan=borrowed, on=DAY, by=house.officer)
    borrowed.refresh_from_db()
    assert _read(house, borrowed).left_over
    lot = Lot.objects.get(accession="S1")
    factories.make_event("given_back", lot=lot, place="E02", males=1, females=1, happened="2026-09-01")
    assert not _read(house, borrowed).left_over


def test_a_letter_that_does_not_come_is_missed(house: PermitHouse, lent: Loan) -> None:
    assert _read(house, lent).confirm_by == date(2025, 8, 12)
    assert _read(house, lent).unconfirmed
    confirm_loan(loan=lent, letter_of=date(2026, 8, 30), by=house.officer, now=house.now, zone=house.zone)
    assert not _read(house, lent).unconfirmed


def test_a_death_told_by_letter_enters_the_book_with_the_letter_as_its_evidence(
    house: PermitHouse, lent: Loan
) -> None:
    """As in case C18 of the demo."""
    confirm_loan(
        loan=lent,
        letter_of=date(2026, 8, 30),
        words="one female died on 22 August, 14 egg cases laid",
        deaths=[DeathTold("R2", parse_happened("2026-08-22"), Numbers(females=1), "not told")],
        by=house.officer,
        now=house.now,
        zone=house.zone,
    )
    event = Event.objects.get(kind="died")
    assert (event.happened, event.evidence, event.party) == (
        "2026-08-22",
        "L1, letter of 2026-08-30",
        "A Sea Hall",
    )
    assert list(LoanConfirmation.objects.get().events.all()) == [event]
    assert [lot.held.total for lot in _read(house, lent).lent] == [1, 0]


def test_a_letter_of_tomorrow_and_a_death_of_other_animals_are_refused_and_nothing_is_kept(
    house: PermitHouse, lent: Loan
) -> None:
    stated = {"loan": lent, "by": house.officer, "now": house.now, "zone": house.zone}
    with pytest.raises(LoanRefused, match="lies in the future"):
        confirm_loan(letter_of=date(2026, 10, 7), **stated)  # type: ignore[arg-type]
    other = factories.make_lot("X1")
    death = DeathTold(other.accession, parse_happened("2026-08-22"), Numbers(unknown=1))
    with pytest.raises(LoanRefused, match="X1 is not under L1"):
        confirm_loan(letter_of=DAY, deaths=[death], **stated)  # type: ignore[arg-type]
    twice = [DeathTold("R2", parse_happened("2026-08-22"), Numbers(females=2))]
    with pytest.raises(LoanRefused):
        confirm_loan(letter_of=DAY, deaths=twice, **stated)  # type: ignore[arg-type]
    assert not LoanConfirmation.objects.exists()
    assert not Event.objects.filter(kind="died").exists()


def test_the_same_letter_sent_twice_is_one_letter_and_one_death(house: PermitHouse) -> None:
    """Two tabs, or the button of the browser that goes back: of a group nothing else would notice."""
    lot, away = factories.make_lot("G1"), Place.objects.get(code="LO")
    factories.make_event("received", lot=lot, place="E02", unknown=9, happened="2025-05-01")
    factories.make_event(
        "loan_out", lot=lot, place="E02", to_place=away, unknown=9, happened="2025-05-12", party="A Sea Hall"
    )
    facts = LoanFacts(
        reference="L3", direction="out", party="A Sea Hall", starts_on=date(2025, 5, 12), lots=["G1"]
    )
    loan = enter_loan(facts=facts, by=house.officer, now=house.now)

    def letter(n: int) -> LoanConfirmation:
        return confirm_loan(
            loan=loan,
            letter_of=date(2026, 9, 30),
            words="all well but these",
            deaths=[DeathTold("G1", parse_happened("2026-09-20"), Numbers(unknown=n))] if n else (),
            by=house.officer,
            now=house.now,
            zone=house.zone,
        )

    assert letter(2) == letter(2)
    lot.refresh_from_db()
    assert lot.held == 7
    assert letter(1) != letter(2), "another number is another letter"
    assert letter(0) == letter(0)
    lot.refresh_from_db()
    assert (lot.held, LoanConfirmation.objects.count()) == (6, 3)


def test_here_and_ours_are_told_apart(house: PermitHouse, lent: Loan, borrowed: Loan) -> None:
    (animals,) = totals(on=DAY, zone=house.zone)
    assert (animals.here, animals.ours, animals.lent_to_us, animals.lent_by_us) == (2, 2, 2, 2)


def test_young_belong_to_nobody_before_the_day_and_half_to_the_lender_after_it(
    house: PermitHouse, borrowed: Loan
) -> None:
    """As in case C19 of the demo: half of the young that reach day 30."""
    lot = factories.make_lot("Y1", taxon=Lot.objects.get(accession="S1").taxon)
    factories.make_event("born", lot=lot, place="E02", unknown=15, happened="2026-06-14")
    factories.make_event(
        "died", lot=lot, place="E02", unknown=1, happened="2026-07-14T08:00", cause="not known"
    )
    factories.make_event("died", lot=lot, place="E02", unknown=3, happened="2026-07-15", cause="not known")
    add_young(loan=borrowed, lot=lot, born_on=date(2026, 6, 14), by=house.officer, now=house.now)
    (before,) = _read(house, borrowed, date(2026, 7, 13)).young
    assert before.share
    assert before.share.reached is None
    (after,) = _read(house, borrowed).young
    assert after.share
    assert (after.share.reached, after.share.lender, after.share.borrower) == (14, Fraction(7), Fraction(7))
    assert after.held.total == 11


def test_the_lenders_part_gets_a_lot_of_its_own_and_no_number_changes(
    house: PermitHouse, borrowed: Loan
) -> None:
    lot = factories.make_lot("Y1", taxon=Lot.objects.get(accession="S1").taxon)
    factories.make_event("born", lot=lot, place="E02", unknown=14, happened="2026-06-14")
    young = add_young(loan=borrowed, lot=lot, born_on=date(2026, 6, 14), by=house.officer, now=house.now)
    made = divide_young(
        young=young,
        to_owner="A Sea Centre",
        numbers=Numbers(unknown=7),
        place="E02",
        by=house.officer,
        now=house.now,
        zone=house.zone,
    )
    made.refresh_from_db()
    lot.refresh_from_db()
    assert (made.owner, made.held, lot.held) == ("A Sea Centre", 7, 7)
    (animals,) = totals(on=DAY, zone=house.zone)
    assert (animals.here, animals.ours, animals.lent_to_us) == (16, 7, 9)
    shares = [one.share for one in _read(house, borrowed).young if one.share]
    assert sum(share.lender or 0 for share in shares) == 7


def test_no_more_young_are_shared_than_there_are_and_none_twice(house: PermitHouse, borrowed: Loan) -> None:
    lot = factories.make_lot("Y1", taxon=Lot.objects.get(accession="S1").taxon)
    factories.make_event("born", lot=lot, place="E02", unknown=14, happened="2026-06-14")
    young = add_young(loan=borrowed, lot=lot, born_on=date(2026, 6, 14), by=house.officer, now=house.now)
    stated = {"to_owner": "A Sea Centre", "place": "E02", "by": house.officer, "now": house.now}
    stated |= {"zone": house.zone}
    with pytest.raises(LoanRefused, match="the book has fewer than 70 of Y1 in E02"):
        divide_young(young=young, numbers=Numbers(unknown=70), **stated)  # type: ignore[arg-type]
    with pytest.raises(LoanRefused, match="fewer than 1 of Y1"):
        divide_young(young=young, numbers=Numbers(females=1), **stated)  # type: ignore[arg-type]
    divide_young(young=young, numbers=Numbers(unknown=7), **stated)  # type: ignore[arg-type]
    theirs = borrowed.lots.get(lot__owner="A Sea Centre", young=True)
    with pytest.raises(LoanRefused, match="belongs to A Sea Centre already"):
        divide_young(young=theirs, numbers=Numbers(unknown=1), **stated)  # type: ignore[arg-type]
    lot.refresh_from_db()
    assert lot.held == 7


def test_a_letter_tells_of_no_death_after_it_was_written(house: PermitHouse, lent: Loan) -> None:
    death = DeathTold("R2", parse_happened("2026-09-20"), Numbers(females=1))
    with pytest.raises(LoanRefused, match="a letter of 2026-09-01 cannot tell of a death on 2026-09-20"):
        confirm_loan(
            loan=lent,
            letter_of=date(2026, 9, 1),
            deaths=[death],
            by=house.officer,
            now=house.now,
            zone=house.zone,
        )
    assert not LoanConfirmation.objects.exists()


def test_a_loan_that_cannot_be_is_refused(house: PermitHouse, lent: Loan) -> None:
    def facts(**stated: object) -> LoanFacts:
        plain = {"reference": "L9", "direction": "out", "party": "x", "starts_on": DAY}
        return LoanFacts(**plain | stated)  # type: ignore[arg-type]

    for wrong, column in (
        (facts(reference="L1"), "reference"),
        (facts(direction="away"), "direction"),
        (facts(until=date(2025, 1, 1)), "until"),
        (facts(lender_part=Fraction(3, 2)), "young_share"),
        (facts(lots=["nowhere"]), "lots"),
    ):
        with pytest.raises(LoanRefused) as refused:
            enter_loan(facts=wrong, by=house.officer, now=house.now)
        assert refused.value.problems[0].column == column
    assert Loan.objects.count() == 1


def test_the_number_of_queries_does_not_grow_with_loans(
    house: PermitHouse, lent: Loan, borrowed: Loan
) -> None:
    def ask() -> int:
        with CaptureQueriesContext(connection) as captured:
            read_loans(on=DAY, zone=house.zone)
        return len(captured)

    few = ask()
    for n in range(5):
        lot = factories.make_lot(f"M{n}")
        facts = LoanFacts(f"M{n}", "in", "x", date(2026, 1, 1), lots=[lot.accession])
        loan = enter_loan(facts=facts, by=house.officer, now=house.now)
        confirm_loan(loan=loan, letter_of=DAY, by=house.officer, now=house.now, zone=house.zone)
    assert ask() == few + 1  # the events of letters are asked for when there is a letter


@pytest.mark.usefixtures("frozen_clock")
def test_a_letter_that_is_refused_is_not_kept(house: PermitHouse, lent: Loan) -> None:
    client = Client()
    client.force_login(house.officer.user)  # type: ignore[arg-type]
    for letter_of, kept in (("2026-10-07", 0), ("2026-10-06", 1)):
        file = SimpleUploadedFile("letter.pdf", b"%PDF-1.7 both are well")
        client.post(f"/loan/{lent.pk}", {"do": "letter", "letter-letter_of": letter_of, "letter-file": file})
        assert (LoanConfirmation.objects.count(), Document.objects.count()) == (kept, kept)


def test_the_page_leads_to_the_way_back_and_asks_nothing_more_of_a_loan_that_ended(
    house: PermitHouse, lent: Loan
) -> None:
    client = Client()
    client.force_login(house.officer.user)  # type: ignore[arg-type]
    lot = str(lent.lots.order_by("pk").values_list("lot__accession", flat=True)[0])
    back = f'href="/record/back_from_loan/{lot}"'
    assert back in client.get(f"/loan/{lent.pk}").text
    end_loan(loan=lent, on=DAY, by=house.officer)
    page = client.get(f"/loan/{lent.pk}").text
    assert back in page
    assert "<dt>Ended</dt><dd>on 6 October 2026</dd>" in page
    assert "; the next by" not in page
    assert "It goes on" not in page
    assert "A letter has come" in page, "it may tell of what was left over"
