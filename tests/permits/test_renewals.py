"""What a renewal and a new year do to counts and to the cases of what came before."""

from dataclasses import replace
from datetime import date, timedelta

from inventory.permits.actions.permits import LineFacts, LinkFacts, VersionFacts, amend_permit
from inventory.permits.models import Case, CaseKind, VersionKind
from inventory.permits.queries.accounts import account

from .house import GOBY, LINES, PermitHouse, a_take, make_permit_house

RENEWED = date(2026, 10, 1)
SAME_LINES = tuple(replace(line, number=number) for number, line in enumerate(LINES, start=1))


def _renew(house: PermitHouse, *, holds_from: date = RENEWED) -> None:
    amend_permit(
        permit=house.permit,
        facts=VersionFacts(
            valid_from=RENEWED,
            valid_until=date(2027, 9, 30),
            lines=SAME_LINES,
            people=["The skipper"],
        ),
        kind=VersionKind.RENEWAL,
        amended_on=holds_from,
        by=house.officer,
        now=house.now,
    )


def _over() -> list[tuple[str, bool]]:
    cases = Case.objects.filter(kind=CaseKind.OVER_LIMIT).order_by("id")
    return [(case.words[-9:], case.closed_at is None) for case in cases]


def test_a_renewal_that_was_issued_early_counts_from_its_first_valid_day(house: PermitHouse) -> None:
    """The letter came on 20 September; what was taken on the 25th is of the old run."""
    _renew(house, holds_from=date(2026, 9, 20))
    house.record(a_take("two-spotted goby", 4), happened="2026-09-25")
    before = account(house.permit, as_of=date(2026, 9, 30), zone=house.zone).lines[0].used
    after = account(house.permit, as_of=date(2026, 10, 6), zone=house.zone).lines[0].used
    assert ((before.counted, before.left), (after.counted, after.left)) == ((4, 6), (0, 10))


def test_a_slip_of_the_old_run_that_comes_late_is_held_against_the_old_limit(house: PermitHouse) -> None:
    _renew(house)
    house.record(a_take("two-spotted goby", 11), happened="2026-09-25")
    assert _over() == [("over by 1", True)]


def test_a_case_of_the_old_run_stays_open_when_the_new_one_begins(house: PermitHouse) -> None:
    """The limit was broken, whatever is counted anew; only a person or a correction ends the case."""
    house.record(a_take("two-spotted goby", 11), happened="2026-09-25")
    _renew(house)
    house.record(a_take("two-spotted goby", 1), happened="2026-10-02")
    assert _over() == [("over by 1", True)]


def test_each_run_that_is_over_has_a_case_of_its_own(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 11), happened="2026-09-25")
    _renew(house)
    house.record(a_take("two-spotted goby", 12), happened="2026-10-02")
    assert _over() == [("over by 1", True), ("over by 2", True)]
    assert {case.line_number for case in Case.objects.filter(kind=CaseKind.OVER_LIMIT)} == {GOBY}


def test_a_case_of_a_year_stays_open_in_the_next(db: None) -> None:
    goby = LinkFacts("taxon", ["Pomatoschistus flavescens"])
    house = make_permit_house(
        [LineFacts("Two-spotted goby", 2, per="year", link=goby)],
        valid_from=date(2025, 1, 1),
        valid_until=date(2027, 12, 31),
    )
    house.record(a_take("two-spotted goby", 3), happened="2025-09-01")
    house.record(a_take("two-spotted goby", 1), happened="2026-09-01", at=house.now + timedelta(minutes=1))
    assert _over() == [("over by 1", True)]
