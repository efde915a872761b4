"""Permits with their versions, links and papers; what is left, as of a day."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.book.actions.documents import keep_document
from inventory.names.models import Taxon
from inventory.permits.actions.permits import (
    LineFacts,
    LinkFacts,
    PermitRefused,
    VersionFacts,
    amend_permit,
    attach_document,
    enter_permit,
    link_line,
)
from inventory.permits.models import LineLink, Permit, PermitDocument, PermitLine, VersionKind
from inventory.permits.queries.accounts import PermitAccount, account, accounts
from inventory.permits.queries.known import limits_known
from inventory.permits.queries.pages import permit_rows
from inventory.permits.queries.reading import read_permit
from inventory.permits.queries.review import links_to_review

from .. import factories
from .house import GOBY, LINES, NUMBER, PermitHouse, a_take, make_permit_house

DAY = date(2026, 10, 6)


def _facts(**stated: object) -> VersionFacts:
    facts = VersionFacts(valid_from=date(2026, 1, 1), valid_until=date(2026, 9, 30), lines=LINES)
    return replace(facts, **stated)  # type: ignore[arg-type]


def _account(house: PermitHouse, as_of: date = DAY) -> PermitAccount:
    return account(house.permit, as_of=as_of, zone=house.zone)


def test_a_permit_is_read_as_it_was_entered(house: PermitHouse) -> None:
    read = read_permit(house.permit, on=DAY)
    assert [line.words for line in read.lines] == [line.words for line in LINES]
    assert read.people == [house.aquarist.name, "The skipper"]
    assert [link.scope for link in read.links.values()] == [line.link.scope for line in LINES if line.link]


def test_an_amendment_goes_on_with_what_was_counted_and_a_renewal_begins_anew(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    more = (replace(LINES[0], limit=20, number=GOBY), *(replace(line, number=0) for line in LINES[1:]))
    amend_permit(
        permit=house.permit,
        facts=_facts(lines=more),
        kind=VersionKind.AMENDMENT,
        amended_on=date(2026, 9, 15),
        by=house.officer,
        now=house.now,
    )
    assert (_account(house, date(2026, 9, 14)).lines[0].used.left, _account(house).lines[0].used.left) == (
        6,
        16,
    )
    amend_permit(
        permit=house.permit,
        facts=_facts(valid_from=date(2026, 10, 1), valid_until=date(2027, 9, 30), lines=more),
        kind=VersionKind.RENEWAL,
        amended_on=date(2026, 10, 1),
        by=house.officer,
        now=house.now,
    )
    assert _account(house).lines[0].used.left == 20
    assert _account(house, date(2026, 9, 30)).lines[0].used.left == 16
    # Through a renewal without a gap animals of the first year were taken under a valid permit.
    assert house.record(a_take("two-spotted goby", 1), happened="2026-10-02").cases == []


def test_a_line_that_is_no_longer_on_the_permit_keeps_its_takes(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    amend_permit(
        permit=house.permit,
        facts=_facts(lines=[replace(LINES[1], number=2)]),
        kind=VersionKind.AMENDMENT,
        amended_on=date(2026, 9, 15),
        by=house.officer,
        now=house.now,
    )
    last = _account(house).lines[-1]
    assert (last.line, last.words, last.used.kept) == (None, "line 1, no longer on the permit", 4)


@pytest.mark.parametrize(
    ("facts", "column"),
    [
        (_facts(valid_until=date(2025, 12, 31)), "valid_until"),
        (_facts(people=["Nobody At All"]), "people"),
        (_facts(lines=[LineFacts("  ", 1)]), "words"),
        (_facts(lines=[LineFacts("x", 1, per="week")]), "per"),
        (_facts(lines=[LineFacts("x", 1, number=3), LineFacts("y", 1, number=3)]), "line"),
        (_facts(area=[(0.0, 0.0), (1.0, 1.0)]), "area"),
        (_facts(lines=[LineFacts("x", 1, link=LinkFacts("taxon", ["A b", "C d"]))]), "names"),
        (_facts(lines=[LineFacts("x", 1, link=LinkFacts("some", ["A b"]))]), "covers"),
    ],
)
def test_what_cannot_be_a_permit_is_refused_whole(
    house: PermitHouse, facts: VersionFacts, column: str
) -> None:
    with pytest.raises(PermitRefused) as refused:
        enter_permit(
            number="TEST 9", authority="BOARD", holder="x", facts=facts, by=house.officer, now=house.now
        )
    assert refused.value.column == column
    assert not Permit.objects.filter(number="TEST 9").exists()


def test_a_number_that_is_here_and_a_version_before_the_last_are_refused(house: PermitHouse) -> None:
    with pytest.raises(PermitRefused, match="amend or renew it there"):
        enter_permit(
            number=NUMBER, authority="BOARD", holder="x", facts=_facts(), by=house.officer, now=house.now
        )
    with pytest.raises(PermitRefused, match="a later one comes after it"):
        amend_permit(
            permit=house.permit,
            facts=_facts(),
            kind=VersionKind.AMENDMENT,
            amended_on=date(2025, 1, 1),
            by=house.officer,
            now=house.now,
        )


def test_words_stay_when_a_name_changes_and_the_link_comes_up_for_review(house: PermitHouse) -> None:
    taxon = house.taxa["Pomatoschistus flavescens"]
    taxon.scientific_name = "Gobiusculus flavescens"
    taxon.save()
    (one,) = [found for found in links_to_review() if found.line_number == GOBY]
    assert (one.linked, one.now) == ("Pomatoschistus flavescens", "Gobiusculus flavescens")
    assert house.record(a_take("two-spotted goby", 1)).cases == []
    link_line(
        permit=house.permit,
        line_number=GOBY,
        link=LinkFacts("taxon", ["Gobiusculus flavescens"], "same animal"),
        by=house.officer,
        now=house.now + timedelta(minutes=1),
    )
    assert not links_to_review()
    assert LineLink.objects.filter(permit=house.permit, line_number=GOBY).count() == 2
    assert PermitLine.objects.get(number=GOBY).words == "Two-spotted goby (Gobiusculus flavescens)"


def test_a_paper_stands_with_its_version_once(house: PermitHouse) -> None:
    paper = keep_document(name="permit.txt", content=b"the permit", by=house.officer, now=house.now)
    version = house.permit.versions.get()
    for _ in range(2):
        attach_document(version=version, document=paper, by=house.officer, now=house.now)
    assert PermitDocument.objects.get().document == paper


def test_what_is_held_at_once_is_what_is_here_whosoever_it_is(db: None) -> None:
    held = LineFacts("Gobies, holding", 5, per="held", link=LinkFacts("taxon", ["Pomatoschistus flavescens"]))
    house = make_permit_house(lines=[held])
    taxon = house.taxa["Pomatoschistus flavescens"]
    for place, n, owner in (
        (house.kelp_hall, 3, ""),
        (house.quarantine, 2, "Another house"),
        ("LO", 9, ""),
    ):
        lot = factories.make_lot(taxon=taxon, owner=owner)
        factories.make_event("received", lot=lot, place=place, unknown=n)
    (line,) = _account(house).lines
    assert (line.used.used, line.used.left, line.used.over) == (5, 0, 0)
    (line,) = account(house.permit, as_of=DAY, zone=house.zone, hidden=[house.kelp_hall.pk]).lines
    assert (line.hidden, line.used.used) == (True, 0)


def test_lines_with_animals_that_are_being_counted_are_blanked(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4), a_take("shore crab", 3, place="E02"))
    found = account(house.permit, as_of=DAY, zone=house.zone, hidden=[house.quarantine.pk])
    assert [(line.number, line.hidden, line.used.kept) for line in found.lines][:3] == [
        (1, True, 0),
        (2, False, 0),
        (3, False, 3),
    ]


def test_the_number_of_queries_does_not_grow_with_lines_takes_and_permits(house: PermitHouse) -> None:
    def ask() -> int:
        with CaptureQueriesContext(
            connection,
        ) as captured:
            accounts(list(Permit.objects.all()), as_of=DAY, zone=house.zone, hidden=[house.kelp_hall.pk])
            permit_rows(on=DAY, zone=house.zone)
            limits_known(on=date(2026, 9, 1), zone=house.zone)
        return len(captured)  # fmt: skip

    house.record(a_take("two-spotted goby", 1), a_take("Asterias rubens", 1))
    few = ask()
    enter_permit(
        number="TEST 2", authority="BOARD", holder="x", facts=_facts(), by=house.officer, now=house.now
    )
    for day in range(2, 8):
        house.record(
            a_take("two-spotted goby", 1),
            a_take("shore crab", 1, permit="TEST 2"),
            a_take("Asterias rubens", 1),
            happened=f"2026-09-0{day}",
        )
    assert ask() == few


def test_the_boat_is_told_what_is_left_and_nothing_that_is_being_counted(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    (told,) = limits_known(on=date(2026, 9, 1), zone=house.zone)
    assert told["number"] == NUMBER
    assert told["lines"][0] == {
        "number": 1,
        "words": "Two-spotted goby (Gobiusculus flavescens)",
        "names": ["Pomatoschistus flavescens"],
        "scope": "taxon",
        "limit": 10,
        "left": 6,
        "per": "permit",
        "unit": "animal",
        "condition": "",
    }
    (told,) = limits_known(on=date(2026, 9, 1), zone=house.zone, hidden=[house.quarantine.pk])
    assert told["lines"][0]["left"] is None
    assert limits_known(on=date(2026, 10, 1), zone=house.zone) == []


def test_a_name_that_is_found_out_later_gets_its_line(house: PermitHouse) -> None:
    """Nobody could read the slip; the review of names says what it was, and the account follows."""
    house.record(a_take("gobbyfish", 2))
    stray = account(house.permit, as_of=DAY, zone=house.zone).lines[-1]
    assert (stray.line, stray.names) == (None, ("gobbyfish",))
    taxon = Taxon.objects.get(scientific_name="gobbyfish")
    taxon.joined_into = house.taxa["Pomatoschistus flavescens"]
    taxon.save()
    found = account(house.permit, as_of=DAY, zone=house.zone)
    assert (found.lines[0].used.kept, found.lines[-1].number) == (2, 6)


def test_a_line_of_a_later_amendment_does_not_reach_back(house: PermitHouse) -> None:
    house.record(a_take("Asterias rubens", 1))
    stars = LineFacts("Starfish", 9, link=LinkFacts("taxon", ["Asterias rubens"]))
    amend_permit(
        permit=house.permit,
        facts=_facts(lines=[*(replace(line, number=n) for n, line in enumerate(LINES, 1)), stars]),
        kind=VersionKind.AMENDMENT,
        amended_on=date(2026, 9, 15),
        by=house.officer,
        now=house.now,
    )
    house.record(a_take("Asterias rubens", 2), happened="2026-09-20")
    lines = _account(house).lines
    assert [(line.number, line.used.kept) for line in lines[-2:]] == [(7, 2), (None, 1)]
