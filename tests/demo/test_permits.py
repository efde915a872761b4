"""The permit tables of the demo come out of its takes; expected numbers are read from the fixtures."""

from collections import Counter
from datetime import date, datetime
from fractions import Fraction

import pytest

from census.demo.actions.permits import load_permits
from census.demo.rules import fixtures
from inventory.book.models import Event, Flow
from inventory.book.rules.kinds import EventKind
from inventory.permits.models import Case, CaseKind, Permit, Take, Trip
from inventory.permits.queries.accounts import PermitAccount, accounts
from inventory.permits.queries.known import limits_known
from inventory.permits.queries.loans import read_loans, totals
from inventory.permits.queries.review import links_to_review
from inventory.permits.queries.takes import current_takes, trail_of

from .conftest import DemoHouse

pytestmark = pytest.mark.django_db

USE = fixtures.read_rows("permit_use.csv")
LINES = fixtures.read_rows("permit_lines.csv")
P1, P2, P3 = (row["number"] for row in fixtures.read_rows("permits.csv"))
TODAY = date(2026, 10, 6)


def _accounts(
    house: DemoHouse, as_of: date = TODAY, known_at: datetime | None = None
) -> dict[str, PermitAccount]:
    found = accounts(list(Permit.objects.all()), as_of=as_of, zone=house.zone, known_at=known_at)
    return {account.permit.number: account for account in found.values()}


def _used(account: PermitAccount, words: str) -> tuple[int, int, int, int]:
    used = next(line.used for line in account.lines if line.words == words)
    return used.caught, used.let_go, used.died, used.kept


def test_every_number_of_the_permit_tables_comes_out(house: DemoHouse) -> None:
    found = _accounts(house)
    got = {
        (number, line.words): (line.used.caught, line.used.let_go, line.used.died, line.used.kept)
        for number, account in found.items()
        for line in account.lines
        if line.line is not None
    }
    expected = {
        (row["permit"], row["line"]): tuple(int(row[c]) for c in ("caught", "let_go", "died", "kept"))
        for row in USE
    }
    assert got == expected
    assert all(line.identity_holds for account in found.values() for line in account.lines)


def test_what_is_left_is_the_limit_less_what_was_kept_and_what_died(house: DemoHouse) -> None:
    limits = {(row["permit"], row["words"]): row for row in LINES}
    for number, account in _accounts(house).items():
        for line in account.lines:
            if line.line is None or line.line.per != "permit":
                continue
            limit = int(limits[number, line.words]["limit"])
            assert line.used.left == limit - line.used.kept - line.used.died, line.words


def test_only_the_thornbacks_are_over_and_by_one(house: DemoHouse) -> None:
    over = [
        (account.permit.number, line.words, line.used.over)
        for account in _accounts(house).values()
        for line in account.over
    ]
    assert over == [(P2, "Thornback (Raja clavata)", 1)]


def test_the_limit_of_a_trip_was_reached_exactly_and_the_next_may_take_as_many(house: DemoHouse) -> None:
    (line,) = [line for line in _accounts(house)[P2].lines if line.line and line.line.per == "trip"]
    assert (line.used.used, line.used.over, line.used.left, line.most_on) == (50, 0, 50, "2026-09-08")


def test_eighteen_seahorses_are_held_of_twenty(house: DemoHouse) -> None:
    """4 adults on loan and 14 young; none of them was taken."""
    (line,) = [line for line in _accounts(house)[P3].lines if line.line and line.line.per == "held"]
    assert (line.used.caught, line.used.used, line.used.left) == (0, 18, 2)


def test_the_takes_agree_with_the_events_that_brought_the_animals(house: DemoHouse) -> None:
    """Every animal taken in the two years stands under a take, and no take has more than its events."""
    standing = Event.objects.filter(kind=EventKind.TAKEN, reversed_by=None).exclude(permit_number="")
    linked = {event for read in current_takes() for event in read.event_ids}
    assert linked == set(standing.values_list("id", flat=True))
    numbers = Counter(dict(standing.values_list("id", "flows__n")))
    brought = sum(Flow.objects.filter(event__in=numbers).values_list("n", flat=True))
    stocked = sum(
        read.take.kept if read.take.into_stock is None else read.take.into_stock for read in current_takes()
    )
    assert stocked == brought
    by_permit = {(read.take.permit.number, event) for read in current_takes() for event in read.event_ids}
    assert by_permit == {(number, pk) for pk, number in standing.values_list("id", "permit_number")}


def test_the_trips_of_the_third_quarter_kept_177(house: DemoHouse) -> None:
    quarter = fixtures.read_quarters()[-1]
    kept = [read.take.kept for read in current_takes() if quarter.starts <= read.trip.ends_on <= quarter.ends]
    assert sum(kept) == sum(row.taken for row in fixtures.read_census()) == 177


def test_the_thornbacks_are_a_case_with_its_history_and_an_owner(house: DemoHouse) -> None:
    """C35: typed as 3 kept, corrected to 2; still one over the limit."""
    case = Case.objects.get(kind=CaseKind.OVER_LIMIT)
    assert (case.permit.number, case.owner.name, case.closed_at) == (P2, "Tamsin Corrigarth", None)
    notes = [
        (note.at.astimezone(house.zone).date(), note.by.name, note.words[:9]) for note in case.notes.all()
    ]
    assert notes == [
        (date(2026, 8, 20), "Jory Penhalloway", "4 counted"),
        (date(2026, 8, 24), "Tamsin Corrigarth", "3 counted"),
    ]
    assert case.take
    assert [(row.kept, row.let_go) for row in trail_of(case.take)] == [(3, 0), (2, 1)]


def test_goldsinny_on_the_expired_permit_keep_their_trail(house: DemoHouse) -> None:
    """C36: booked to P1 after it had ended, moved to P2 on 9 January; the case was closed by the move."""
    case = Case.objects.get(kind=CaseKind.EXPIRED)
    assert (case.permit.number, str(case.trip.ends_on)) == (P1, "2025-11-02")
    assert case.closed_at
    assert (case.closed_at.astimezone(house.zone).date(), case.closed_by and case.closed_by.name) == (
        date(2026, 1, 9),
        "Tamsin Corrigarth",
    )
    take = Take.objects.get(trip=case.trip, replaced_by=None)
    trail = [(row.permit.number, row.kept, row.entered_by.name) for row in trail_of(take)]
    assert trail == [(P1, 6, "Jory Penhalloway"), (P2, 6, "Tamsin Corrigarth")]
    before = datetime(2026, 1, 1, tzinfo=house.zone)
    then, now = _accounts(house, known_at=before), _accounts(house)
    assert _used(then[P1], "Goldsinny (Ctenolabrus rupestris)")[3] == 26
    assert _used(now[P1], "Goldsinny (Ctenolabrus rupestris)")[3] == 20


def test_sea_snail_times_three_is_a_fish(house: DemoHouse) -> None:
    """C38: the permit's own line names the animal that the slip means."""
    take = Take.objects.get(verbatim_identification="sea snail x3")
    assert take.taxon
    assert (take.taxon.scientific_name, take.taxon.phylum, take.kept) == ("Liparis liparis", "Chordata", 3)


def test_what_no_line_of_the_permit_covers_is_a_case_of_its_own(house: DemoHouse) -> None:
    cases = Case.objects.filter(kind=CaseKind.NOT_LISTED, closed_at=None).order_by("opened_at")
    assert [case.take and case.take.taxon and case.take.taxon.scientific_name for case in cases] == [
        "Eledone cirrhosa",
        "Asterias rubens",
    ]
    assert not Case.objects.exclude(kind__in=["not_listed", "over_limit", "expired", "unit"]).exists()


def test_branches_entered_as_animals_were_a_case_until_the_unit_was_right(house: DemoHouse) -> None:
    case = Case.objects.get(kind=CaseKind.UNIT)
    assert "'animal'" in case.words
    assert "'colony'" in case.words
    assert case.closed_by
    assert case.closed_by.name == "Maren Tolvsund"


def test_the_permits_valid_today_are_known_to_the_boat(house: DemoHouse) -> None:
    known = {permit["number"]: permit for permit in limits_known(on=TODAY, zone=house.zone)}
    assert set(known) == {P2, P3}
    left = {line["words"]: line["left"] for line in known[P2]["lines"]}
    assert left["Goldsinny (Ctenolabrus rupestris)"] == 13
    assert left["Thornback (Raja clavata)"] == -1


def test_one_loan_is_overdue_and_half_of_the_young_are_the_lenders(house: DemoHouse) -> None:
    """C18 waits for its letter; C19: half of the 14 that reached day 30 belong to the lender."""
    ours, theirs = read_loans(on=TODAY, zone=house.zone)
    assert (ours.loan.reference, ours.overdue, ours.unconfirmed) == ("LN-1", True, True)
    assert sum(lot.held.total for lot in ours.lent) == 3
    assert (theirs.loan.reference, theirs.overdue, sum(lot.held.total for lot in theirs.lent)) == (
        "LN-2",
        False,
        5,
    )
    (young,) = theirs.young
    assert young.share
    assert (young.share.reached, young.share.lender, young.share.borrower) == (14, Fraction(7), Fraction(7))


def test_here_and_ours_differ_by_the_loans(house: DemoHouse) -> None:
    animals = next(one for one in totals(on=TODAY, zone=house.zone) if one.unit == "animal")
    assert (animals.lent_to_us, animals.lent_by_us) == (5, 3)
    assert animals.here - animals.ours == 5 - 3


def test_no_link_waits_for_a_review(house: DemoHouse) -> None:
    assert links_to_review() == []


def test_loading_the_same_sheets_again_changes_nothing(house: DemoHouse) -> None:
    before = Trip.objects.count(), Take.objects.count(), Case.objects.count(), Event.objects.count()
    report = load_permits(house.history, now=house.now, zone=house.zone)
    assert all((tally.new, tally.changed) == (0, 0) for tally in report.sheets.values())
    assert report.sheets["takes"].already_there == report.sheets["takes"].rows > 0
    assert before == (Trip.objects.count(), Take.objects.count(), Case.objects.count(), Event.objects.count())
