"""The pages of differences: what is proposed, accepted with a tick, accepted with names, refused."""

import re
from collections.abc import Callable
from html import unescape

import pytest
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from census.differences.models import Refusal
from census.rounds.actions.accept import accept_proposals, refuse_proposal
from census.rounds.actions.refused import CensusRefused
from census.rounds.models import Census, Decision, Line
from census.rounds.queries.explaining import explanations
from census.rounds.queries.reading import Row, read_census
from census.rounds.rules.hypotheses import Hypothesis
from census.rounds.rules.words import LineState
from inventory.people.models import Person
from tests import factories
from tests.rounds.house import NOW, ZONE, TestHouse

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]


@pytest.fixture
def signed_in(client: Client) -> Callable[[Person], Client]:
    def sign_in(person: Person) -> Client:
        assert person.user is not None
        client.force_login(person.user)
        return client

    return sign_in


SignIn = Callable[[Person], Client]


def counted_twice(house: TestHouse, counts: dict[str, int]) -> Census:
    """A census in which these lines differ and a second count says the same."""
    census = house.compared(counts)
    house.count(census, counts, round=2)
    return Census.objects.get(pk=census.pk)


def first(house: TestHouse, census: Census, name: str) -> Hypothesis:
    rows = read_census(census)
    return explanations(census, rows)[house.row(census, name).line.pk][0]


def row_of(line: Line) -> Row:
    rows = read_census(line.sheet.census)
    return next(row for row in rows if line.pk in {part.line.pk for part in row.parts})


def ticks(page: str) -> set[str]:
    return {unescape(key) for key in re.findall(r'name="proposal" value="([^"]*)"', page)}


def test_what_the_registrar_may_accept_alone_has_a_box_and_what_needs_a_name_has_none(
    house: TestHouse, signed_in: SignIn
) -> None:
    """A loss of one is inside the registrar's limit, a loss of five is not."""
    census = counted_twice(house, {"goby": 6, "cod": 14, "wrasse": 24, "wrasse q": 0})
    page = signed_in(house.registrar).get(reverse("differences", args=[census.code])).text
    named = {name: first(house, census, name).key for name in ("goby", "cod", "wrasse")}
    assert ticks(page) == {named["cod"], named["wrasse"]}


def test_ticked_proposals_are_accepted_together(house: TestHouse, signed_in: SignIn) -> None:
    census = counted_twice(house, {"cod": 14, "wrasse": 24, "wrasse q": 0})
    client = signed_in(house.registrar)
    cod, wrasse, quarantined = (house.line(census, name) for name in ("cod", "wrasse", "wrasse q"))
    address = reverse("differences", args=[census.code])
    keys = ticks(client.get(address).text)
    answer = client.post(reverse("differences_accept", args=[census.code]), {"proposal": sorted(keys)})
    assert answer.status_code == 302
    assert {(d.line, d.how, d.n) for d in Decision.objects.all()} == {
        (cod, "adjustment", -1),
        (wrasse, "late_move", 6),
        (quarantined, "late_move", -6),
    }
    assert row_of(quarantined).state is LineState.SETTLED
    assert ticks(client.get(address).text) == set()


def test_nothing_is_accepted_when_one_of_them_is_refused(house: TestHouse) -> None:
    census = counted_twice(house, {"cod": 14, "goby": 6})
    keys = [first(house, census, name).key for name in ("cod", "goby")]
    with pytest.raises(CensusRefused, match="curator's approval"):
        accept_proposals(census=census, keys=keys, by=house.registrar, now=NOW, zone=ZONE)
    assert not Decision.objects.exists()


def test_a_proposal_is_accepted_with_the_names_it_needs_and_the_next_line_follows(
    house: TestHouse, signed_in: SignIn
) -> None:
    census = counted_twice(house, {"cod": 14, "goby": 6})
    line, other = house.line(census, "goby"), house.line(census, "cod")
    address = reverse("census_proposal", args=[line.sheet.number, line.number])
    client, key = signed_in(house.registrar), first(house, census, "goby").key
    client.post(address, {"accept": key})
    assert not Decision.objects.exists()
    answer = client.post(address, {"accept": key, "approved_by": house.curator.name, "note": "no body found"})
    assert answer.headers["Location"] == reverse("census_line", args=[other.sheet.number, other.number])
    decided = Decision.objects.get()
    assert (decided.n, decided.approved_by, decided.note) == (-5, house.curator, "no body found")
    assert str(line) in decided.events.get().evidence


def test_who_only_reads_sees_proposals_and_no_action(house: TestHouse, signed_in: SignIn) -> None:
    census = counted_twice(house, {"cod": 14})
    client, line = signed_in(factories.make_person(roles=["inspector"])), house.line(census, "cod")
    assert ticks(client.get(reverse("differences", args=[census.code])).text) == set()
    page = client.get(reverse("census_line", args=[line.sheet.number, line.number])).text
    assert "unexplained loss" in page
    assert "Accept" not in page
    key = first(house, census, "cod").key
    for address, sent in (
        (reverse("differences_accept", args=[census.code]), {"proposal": key}),
        (reverse("census_proposal", args=[line.sheet.number, line.number]), {"accept": key}),
    ):
        assert client.post(address, sent).status_code == 403
    assert not Decision.objects.exists()


def test_who_counted_the_line_accepts_nothing_about_it(house: TestHouse) -> None:
    census = counted_twice(house, {"cod": 14})
    with pytest.raises(CensusRefused, match="may not accept a proposal"):
        accept_proposals(
            census=census, keys=[first(house, census, "cod").key], by=house.first, now=NOW, zone=ZONE
        )


class TestRefusing:
    def test_what_was_refused_is_not_proposed_again_of_the_same_counts(
        self, house: TestHouse, signed_in: SignIn
    ) -> None:
        census = counted_twice(house, {"wrasse": 24, "wrasse q": 0})
        line, move = house.line(census, "wrasse"), first(house, census, "wrasse")
        address = reverse("census_proposal", args=[line.sheet.number, line.number])
        signed_in(house.registrar).post(address, {"refuse": move.key, "note": "nobody was there that week"})
        refused = Refusal.objects.get()
        assert (refused.why, refused.refused_by) == ("nobody was there that week", house.registrar)
        for name in ("wrasse", "wrasse q"):
            found = explanations(census, read_census(census))[house.row(census, name).line.pk]
            assert move.key not in {one.key for one in found}

    def test_another_count_brings_it_back(self, house: TestHouse) -> None:
        census = house.compared({"wrasse": 24, "wrasse q": 0})
        move = first(house, census, "wrasse")
        refuse_proposal(census=census, key=move.key, by=house.registrar, now=NOW)
        assert first(house, census, "wrasse").key != move.key
        house.count(census, {"wrasse": 24}, round=2)
        assert first(house, census, "wrasse").key == move.key

    def test_what_is_unexplained_is_not_refused(self, house: TestHouse) -> None:
        census = counted_twice(house, {"cod": 14})
        with pytest.raises(CensusRefused, match="cannot be refused"):
            refuse_proposal(census=census, key=first(house, census, "cod").key, by=house.registrar, now=NOW)

    def test_refusing_twice_is_one_refusal_and_it_stays(self, house: TestHouse) -> None:
        census = counted_twice(house, {"wrasse": 24, "wrasse q": 0})
        key = first(house, census, "wrasse").key
        one = refuse_proposal(census=census, key=key, by=house.registrar, now=NOW)
        assert refuse_proposal(census=census, key=key, by=house.registrar, now=NOW) == one
        with pytest.raises(IntegrityError), transaction.atomic():
            Refusal.objects.all().delete()


class TestLateEvents:
    def test_a_late_event_opens_the_line_of_an_accepted_pair_that_it_touches(self, house: TestHouse) -> None:
        """A death in quarantine that was not known: the line there is open again, the other holds."""
        census = counted_twice(house, {"wrasse": 24, "wrasse q": 0})
        lines = {name: house.line(census, name) for name in ("wrasse", "wrasse q")}
        accept_proposals(
            census=census, keys=[first(house, census, "wrasse").key], by=house.registrar, now=NOW, zone=ZONE
        )
        assert not row_of(lines["wrasse"]).needs_settling
        factories.make_event("died", lot=house.lots["wrasse q"], place="K2", happened="2026-09-20")
        assert row_of(lines["wrasse q"]).reopened
        assert row_of(lines["wrasse q"]).needs_settling
        assert row_of(lines["wrasse"]).state is LineState.SETTLED

    def test_the_move_entered_late_after_all_opens_both_lines(self, house: TestHouse) -> None:
        census = counted_twice(house, {"wrasse": 24, "wrasse q": 0})
        lines = {name: house.line(census, name) for name in ("wrasse", "wrasse q")}
        accept_proposals(
            census=census, keys=[first(house, census, "wrasse").key], by=house.registrar, now=NOW, zone=ZONE
        )
        factories.make_event(
            "moved", lot=house.lots["wrasse q"], place="K2", to_place="K1", unknown=6, happened="2026-09-21"
        )
        for name in ("wrasse", "wrasse q"):
            assert row_of(lines[name]).reopened, name
            assert row_of(lines[name]).needs_settling, name

    def test_a_proposal_that_is_no_longer_made_is_not_accepted(self, house: TestHouse) -> None:
        census = counted_twice(house, {"cod": 14})
        key = first(house, census, "cod").key
        factories.make_event("died", lot=house.lots["cod"], place="K1", happened="2026-09-20")
        with pytest.raises(CensusRefused) as refused:
            accept_proposals(census=census, keys=[key], by=house.registrar, now=NOW, zone=ZONE)
        ref = str(house.line(census, "cod"))
        assert str(refused.value).startswith(
            f"{ref}: loss is not proposed any more: it was decided meanwhile"
        )
