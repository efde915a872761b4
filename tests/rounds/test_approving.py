"""Decisions that wait for the curator or the permit officer: asked, seen with their effect, answered."""

from dataclasses import replace
from datetime import date

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.approving import approve_asked, ask_approval, refuse_asked
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.signing import abandon
from census.rounds.models import ApprovalAnswer, ApprovalAsked, Census, Decision
from census.rounds.queries.corrections import Correction, corrections
from census.rounds.rules.effects import Figure
from census.rounds.rules.settling import Settling
from census.rounds.rules.stating import kept, read_back
from census.rounds.rules.words import How, LineState
from inventory.book.rules.drafts import Numbers
from inventory.book.rules.kinds import EventKind
from inventory.people.models import Person
from inventory.people.rules.roles import Role
from tests import factories

from .house import NOW, ZONE, TestHouse

LOST = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-7, evidence="sheet 1", note="pump stood")


def lost_seven(house: TestHouse) -> Census:
    """Seven of 22 bibs are gone by two counts: above the registrar's limit for what is unexplained."""
    census = house.compared({"bib": 15})
    house.count(census, {"bib": 15}, round=2)
    return census


def asked(house: TestHouse, census: Census, settling: Settling = LOST, name: str = "bib") -> ApprovalAsked:
    made = ask_approval(
        line=house.line(census, name), settling=settling, by=house.registrar, now=NOW, zone=ZONE
    )
    assert isinstance(made, ApprovalAsked)
    return made


def one(house: TestHouse, person: Person, *roles: Role) -> Correction:
    (found,) = corrections(person, roles, now=NOW)
    return found


@pytest.mark.django_db
def test_nothing_is_posted_until_the_curator_approves_as_the_one_signed_in(house: TestHouse) -> None:
    census = lost_seven(house)
    waits = asked(house, census)
    assert asked(house, census) == waits
    assert not Decision.objects.exists()
    assert house.row(census, "bib").needs_settling
    answer = approve_asked(asked=waits, by=house.curator, now=NOW, zone=ZONE)
    decision = answer.decision
    assert decision
    assert (decision.decided_by, decision.approved_by, decision.n) == (house.registrar, house.curator, -7)
    event = decision.events.get()
    assert (event.kind, event.entered_by, event.approved_by) == (
        EventKind.UNACCOUNTED,
        house.registrar,
        house.curator,
    )
    assert house.row(census, "bib").state is LineState.SETTLED
    assert corrections(house.curator, [Role.CURATOR], now=NOW) == []
    with pytest.raises(CensusRefused, match="answered already"):
        approve_asked(asked=waits, by=house.curator, now=NOW, zone=ZONE)


@pytest.mark.django_db
def test_what_was_asked_in_a_census_that_is_given_up_waits_for_nobody(house: TestHouse) -> None:
    census = lost_seven(house)
    waits = asked(house, census)
    abandon(census=census, by=house.registrar, now=NOW, note="opened by mistake")
    assert corrections(house.curator, [Role.CURATOR], now=NOW) == []
    with pytest.raises(CensusRefused, match="its census was given up"):
        approve_asked(asked=waits, by=house.curator, now=NOW, zone=ZONE)


@pytest.mark.django_db
def test_what_needs_nobodys_name_is_decided_at_once(house: TestHouse) -> None:
    census = house.compared({"bib": 20})
    house.count(census, {"bib": 20}, round=2)
    settling = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-2)
    made = ask_approval(
        line=house.line(census, "bib"), settling=settling, by=house.registrar, now=NOW, zone=ZONE
    )
    assert isinstance(made, Decision)
    assert not ApprovalAsked.objects.exists()


@pytest.mark.django_db
def test_nobody_approves_their_own_or_without_the_role_or_what_they_counted(house: TestHouse) -> None:
    census = lost_seven(house)
    waits = asked(house, census)
    with pytest.raises(CensusRefused, match="the curator answers this; Runa has no such role"):
        approve_asked(asked=waits, by=house.registrar, now=NOW, zone=ZONE)
    both = factories.make_person("Ketil", roles=["registrar", "curator"])
    own = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-6, note="pump stood")
    house.count(census, {"cod": 9})
    house.count(census, {"cod": 9}, round=2)
    mine = ask_approval(line=house.line(census, "cod"), settling=own, by=both, now=NOW, zone=ZONE)
    assert isinstance(mine, ApprovalAsked)
    with pytest.raises(CensusRefused, match="Ketil may not approve: Ketil entered this decision"):
        approve_asked(asked=mine, by=both, now=NOW, zone=ZONE)
    assert house.first.user
    house.first.user.groups.add(*house.curator.user.groups.all())  # type: ignore[union-attr]
    with pytest.raises(CensusRefused, match="Alda may not approve: Alda counted this line"):
        approve_asked(asked=waits, by=Person.objects.get(pk=house.first.pk), now=NOW, zone=ZONE)
    assert not Decision.objects.exists()


@pytest.mark.django_db
def test_a_refusal_says_why_and_the_line_is_open_again(house: TestHouse) -> None:
    census = lost_seven(house)
    waits = asked(house, census)
    with pytest.raises(CensusRefused, match="Say why"):
        refuse_asked(asked=waits, by=house.curator, now=NOW, why=" ")
    refuse_asked(asked=waits, by=house.curator, now=NOW, why="look behind the pump first")
    with pytest.raises(CensusRefused, match="answered already"):
        approve_asked(asked=waits, by=house.curator, now=NOW, zone=ZONE)
    again = asked(house, census)
    assert again != waits
    taken_back = refuse_asked(asked=again, by=house.registrar, now=NOW, why="found them")
    assert taken_back.role == "registrar"
    with pytest.raises(IntegrityError), transaction.atomic():
        ApprovalAsked.objects.update(n=0)
    with pytest.raises(IntegrityError), transaction.atomic():
        ApprovalAnswer.objects.all().delete()


@pytest.mark.django_db
def test_one_statement_of_a_line_waits_at_a_time(house: TestHouse) -> None:
    census = lost_seven(house)
    asked(house, census)
    other = Settling(how=How.ADJUSTMENT, reason="eaten (suspected)", n=-7)
    with pytest.raises(CensusRefused, match="a statement of Runa waits for approval already"):
        asked(house, census, other)


@pytest.mark.django_db
def test_what_the_counts_do_not_support_is_not_even_asked(house: TestHouse) -> None:
    census = house.compared({"wrasse q": 3})
    loss = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-3)
    with pytest.raises(CensusRefused, match="only one count"):
        asked(house, census, loss, "wrasse q")
    house.count(census, {"wrasse q": 3}, round=2)
    with pytest.raises(CensusRefused, match="a note is needed"):  # half of the tank
        asked(house, census, loss, "wrasse q")
    assert asked(house, census, replace(loss, note="the drain stood open"), "wrasse q").curator


@pytest.mark.django_db
def test_an_approval_of_what_the_book_has_overtaken_is_refused(house: TestHouse) -> None:
    census = lost_seven(house)
    waits = asked(house, census)
    factories.make_event("died", lot=house.lots["bib"], place="K1", unknown=7, happened="2026-09-20", now=NOW)
    told = one(house, house.curator, Role.CURATOR)
    assert told.moved == "the book has moved from 22 to 15"
    with pytest.raises(CensusRefused, match="does not lead to the count"):
        approve_asked(asked=waits, by=house.curator, now=NOW, zone=ZONE)
    assert not ApprovalAnswer.objects.exists()


@pytest.mark.django_db
def test_on_a_permit_both_names_are_needed_of_two_people(house: TestHouse) -> None:
    house.lots["rope"] = factories.make_lot(taxon=house.lots["goby"].taxon, kind="individual")
    factories.make_event(
        "taken", lot=house.lots["rope"], place="K2", happened="2026-07-10", permit_number="P7"
    )
    census = house.compared({"rope": 0})
    house.count(census, {"rope": 0}, round=2)
    gone = Settling(
        how=How.ADJUSTMENT,
        reason="eaten (suspected)",
        n=-1,
        last_seen=date(2026, 7, 20),
        note="kept with congers",
    )
    waits = asked(house, census, gone, "rope")
    assert (waits.curator, waits.permit_officer) == (True, True)
    both = factories.make_person("Ulla", roles=["curator", "permit_officer"])
    first = approve_asked(asked=waits, by=both, now=NOW, zone=ZONE)
    assert (first.role, first.decision) == ("curator", None)
    with pytest.raises(CensusRefused, match="has given one of the names"):
        approve_asked(asked=waits, by=both, now=NOW, zone=ZONE)
    assert one(house, house.officer, Role.PERMIT_OFFICER).wanted == "permit officer"
    second = approve_asked(asked=waits, by=house.officer, now=NOW, zone=ZONE)
    assert second.decision
    assert (second.decision.approved_by, second.decision.countersigned_by) == (both, house.officer)


@pytest.mark.django_db
def test_the_list_shows_old_and_new_of_line_tank_and_kind_and_what_it_touches(house: TestHouse) -> None:
    factories.make_event(
        "taken", lot=house.lots["bib"], place="K1", unknown=2, happened="2026-07-10", permit_number="P7"
    )
    census = house.compared({"bib": 17})
    house.count(census, {"bib": 17}, round=2)
    asked(house, census)
    told = one(house, house.curator, Role.CURATOR)
    assert told.figures == [
        Figure("Trisopterus luscus in K1, book at the count", 24, 17),
        Figure("all of K1 today (animal)", 490, 483),
        Figure("Trisopterus luscus in the house today", 24, 17),
    ]
    assert (told.permits, told.closed, told.wanted, told.answer) == (["P7"], [], "curator", "curator")
    assert one(house, house.registrar, Role.REGISTRAR).answer == ""


@pytest.mark.django_db
def test_the_list_costs_as_many_queries_for_many_as_for_one(
    house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    census = house.compared({"bib": 15, "cod": 5, "goby": 4})
    for name, n in (("bib", 15), ("cod", 5), ("goby", 4)):
        house.count(census, {name: n}, round=2)
    asked(house, census)
    with django_assert_num_queries(QUERIES):
        assert len(corrections(house.curator, [Role.CURATOR], now=NOW)) == 1
    for name, n in (("cod", -10), ("goby", -7)):
        settling = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=n, note="pump stood")
        asked(house, census, settling, name)
    with django_assert_num_queries(QUERIES):
        assert len(corrections(house.curator, [Role.CURATOR], now=NOW)) == 3


QUERIES = 16


@pytest.mark.django_db
def test_the_registrar_asks_on_the_line_and_the_curator_answers_on_the_list(
    house: TestHouse, client: Client
) -> None:
    census = lost_seven(house)
    line = house.line(census, "bib")
    address = reverse("census_line", args=[line.sheet.number, line.number])

    def as_(person: Person) -> Client:
        assert person.user
        client.force_login(person.user)
        return client

    stated = {"how": "adjustment", "n": "-7", "reason": "unexplained loss", "note": "pump stood"}
    told = as_(house.registrar).post(address, {**stated, "ask": "on"}, follow=True).content.decode()
    assert "it waits for approval" in told
    assert "Waits for approval: adjustment" in told
    today = as_(house.curator).get("/").content.decode()
    assert "Corrections that wait for your approval" in today
    page = client.get(reverse("approvals")).content.decode()
    assert "Approve as curator" in page
    assert "pump stood" in page
    waits = ApprovalAsked.objects.get()
    told = client.post(
        reverse("approvals"), {"asked": waits.pk, "step": "approve"}, follow=True
    ).content.decode()
    assert "approved, and posted" in told
    assert Decision.objects.get().approved_by == house.curator
    assert as_(house.first).get(reverse("approvals")).status_code == 403


@pytest.mark.django_db
def test_a_name_that_another_enters_needs_the_paper_it_stands_on(house: TestHouse, client: Client) -> None:
    census = lost_seven(house)
    line = house.line(census, "bib")
    address = reverse("census_line", args=[line.sheet.number, line.number])
    stated = {"how": "adjustment", "n": "-7", "reason": "unexplained loss", "approved_by": house.curator.name}
    assert house.registrar.user
    client.force_login(house.registrar.user)
    assert "Say which paper was signed by hand" in client.post(address, stated).content.decode()
    both = client.post(address, {**stated, "ask": "on", "note": "x"}).content.decode()
    assert "Either ask for approval, or name who signed on paper" in both
    assert not Decision.objects.exists()
    client.post(address, {**stated, "note": "signed on sheet CS-26Q3-01 by hand"})
    assert Decision.objects.get().approved_by == house.curator


_SETTLINGS = st.builds(
    Settling,
    how=st.sampled_from(How),
    reason=st.sampled_from(["", "unexplained loss"]),
    n=st.integers(-50, 50),
    numbers=st.none() | st.builds(Numbers, males=st.integers(0, 9), unknown=st.integers(0, 9)),
    accessions=st.lists(st.text("ABC-123", min_size=1, max_size=8), max_size=3).map(tuple),
    kind=st.none() | st.sampled_from(EventKind),
    happened=st.sampled_from(["", "2026-09-20"]),
    last_seen=st.none() | st.dates(),
    drift=st.booleans(),
    due=st.none() | st.dates(min_value=date(2026, 1, 1)),
    note=st.text(max_size=20),
)


@given(settling=_SETTLINGS)
def test_a_statement_that_was_kept_reads_back_as_it_was(settling: Settling) -> None:
    assert read_back(kept(settling)) == settling
    assert read_back(kept(settling)).fingerprint() == settling.fingerprint()
