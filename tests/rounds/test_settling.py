"""Settling: what is posted, who must agree, and when a settled line opens again."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.decide import decide_line
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.settle_many import settle_many
from census.rounds.models import Census, Decision, Line
from census.rounds.queries.reading import read_census
from census.rounds.readers.decisions import Asked
from census.rounds.rules.settling import Settling, check
from census.rounds.rules.words import How, LineState
from inventory.book.models import Event
from inventory.book.queries.quantities import Point, held_at
from inventory.book.rules.drafts import Numbers
from inventory.book.rules.kinds import EventKind
from tests import factories

from .house import COUNTED, HELD, NOW, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db

SUSPECTED = Settling(how=How.ADJUSTMENT, reason="eaten (suspected)", n=-5, evidence="kept with congers")


def settle(house: TestHouse, census: Census, name: str, settling: Settling, **names: Any) -> Decision:
    names.setdefault("by", house.registrar)
    other = names.pop("other", None)
    return decide_line(
        line=house.line(census, name),
        settling=settling,
        now=NOW,
        zone=ZONE,
        other_line=house.line(census, other) if other else None,
        **names,
    )


def confirmed(house: TestHouse, counts: Mapping[str, int]) -> Census:
    """A compared census in which a second person counted the same."""
    census = house.compared(counts)
    house.count(census, counts, round=2)
    return census


def held(house: TestHouse, lot: str, place: str, before: str = "2026-10-01T00:00") -> tuple[int, int]:
    """(total, of which missing) of a lot in a place."""
    found = held_at([Point(house.lots[lot].pk, house.places[place].pk, at(before))])[0]
    return found.total, found.missing


def test_a_loss_is_posted_at_the_count_moment_and_names_its_line(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    decision = settle(house, census, "goby", SUSPECTED, approved_by=house.curator)
    event = decision.events.get()
    assert event.kind == EventKind.UNACCOUNTED
    assert event.effective_at == at("2026-09-30T10:00")
    assert event.evidence == "CS-26Q3-01 line 3; kept with congers"
    assert (event.entered_by, event.approved_by) == (house.registrar, house.curator)
    assert (decision.book, decision.counted, decision.n) == (6, 6, -5)
    assert house.row(census, "goby").state is LineState.SETTLED
    assert Census.objects.get().state == "settling"


def test_a_loss_found_after_the_cut_off_is_dated_in_the_period_that_closes(house: TestHouse) -> None:
    census = house.compared({"wrasse": 16})
    line = house.line(census, "wrasse")
    ask_recount(lines=[line], of=house.second, by=house.registrar, now=at("2026-10-01T12:00"))
    again = Entry(line=line.number, counted_at=at("2026-10-03T10:00"), counter=house.second, value=16)
    take_counts(sheet=line.sheet, entries=[again], by=house.second, now=at("2026-10-03T11:00"), round=2)
    loss = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-2)
    event = settle(house, census, "wrasse", loss).events.get()
    assert event.effective_at == at("2026-09-30T23:59")
    assert house.row(census, "wrasse").state is LineState.SETTLED


def test_the_same_decision_again_is_the_first_one(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    first = settle(house, census, "goby", SUSPECTED, approved_by=house.curator)
    again = settle(house, census, "goby", SUSPECTED, approved_by=house.curator)
    assert first == again
    assert Decision.objects.count() == 1
    assert Event.objects.filter(kind=EventKind.UNACCOUNTED).count() == 1


@pytest.mark.parametrize(
    ("settling", "why"),
    [
        (replace(SUSPECTED, reason=""), "needs a reason"),
        (replace(SUSPECTED, reason="other"), "not a reason"),
        (replace(SUSPECTED, reason="body found"), "late event"),
        (replace(SUSPECTED, n=-6), "does not lead to the count"),
        (replace(SUSPECTED, n=5, reason="divided"), "does not lead to the count"),
        (replace(SUSPECTED, reason="divided"), "is a gain"),
        (Settling(how=How.COUNT_STANDS), "outside tolerance"),
        (Settling(how=How.OPEN_QUERY), "needs an owner"),
        (Settling(how=How.OPEN_QUERY, owner="Nemo", due=date(2026, 11, 1)), "'Nemo'"),
        (Settling(how=How.LATE_EVENT, kind=EventKind.UNACCOUNTED, happened="2026-09-01", n=5), "adjustment"),
        (Settling(how=How.LATE_MOVE, n=5), "place it went to"),
    ],
)
def test_what_does_not_fit_is_refused_and_posts_nothing(
    house: TestHouse, settling: Settling, why: str
) -> None:
    census = confirmed(house, {"goby": 6})
    events = Event.objects.count()
    with pytest.raises(CensusRefused, match=why):
        settle(house, census, "goby", settling, approved_by=house.curator)
    assert (Event.objects.count(), Decision.objects.count()) == (events, 0)


def test_the_registrar_alone_adjusts_to_the_limit_and_no_further(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6, "wrasse": 16})
    two = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-2)
    assert settle(house, census, "wrasse", two).approved_by is None
    with pytest.raises(CensusRefused, match="the curator's approval is needed: 5 is above"):
        settle(house, census, "goby", SUSPECTED)


def test_an_unexplained_tenth_of_a_tank_needs_the_curator_and_a_note(house: TestHouse) -> None:
    census = confirmed(house, {"wrasse q": 4})
    # Two of six corkwings: inside the registrar's limit, but a third of the animals in the tank.
    loss = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-2)
    with pytest.raises(CensusRefused) as refused:
        settle(house, census, "wrasse q", loss)
    told = str(refused.value)
    assert "the curator's approval is needed: unexplained loss of the tank above 10 per cent" in told
    assert "a note is needed" in told
    noted = replace(loss, note="grid of the overflow was loose")
    assert settle(house, census, "wrasse q", noted, approved_by=house.curator).n == -2


def test_who_counts_does_not_decide_and_nobody_approves_their_own(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    for person in (house.first, house.second):
        person.user.groups.add(*house.registrar.user.groups.all(), *house.curator.user.groups.all())  # type: ignore[union-attr]
    with pytest.raises(CensusRefused, match="who counts does not decide"):
        settle(house, census, "goby", SUSPECTED, by=house.first, approved_by=house.curator)
    with pytest.raises(CensusRefused, match="may not approve: Bror counted this line"):
        settle(house, census, "goby", SUSPECTED, approved_by=house.second)
    with pytest.raises(CensusRefused, match="may not approve: Oskar entered this decision"):
        settle(house, census, "goby", SUSPECTED, by=house.curator, approved_by=house.curator)
    with pytest.raises(CensusRefused, match="neither registrar nor curator"):
        settle(house, census, "goby", SUSPECTED, by=house.officer, approved_by=house.curator)


def test_class_a_needs_the_curator_and_on_a_loan_the_permit_officer_too(house: TestHouse) -> None:
    house.lots["conger"].owner = "Another Aquarium"
    house.lots["conger"].save(update_fields=["owner"])
    census = confirmed(house, {"conger": 1})
    gone = Settling(
        how=How.ADJUSTMENT,
        reason="unexplained loss",
        n=-1,
        accessions=(house.lots["conger"].accession,),
        note="looked everywhere",
        last_seen=date(2026, 8, 2),
    )
    with pytest.raises(CensusRefused, match="permit officer's countersign"):
        settle(house, census, "conger", gone, approved_by=house.curator)
    decision = settle(
        house, census, "conger", gone, approved_by=house.curator, countersigned_by=house.officer
    )
    # An individual is written off by the interval in which it went, never as a death.
    assert decision.events.get().happened == "2026-08-02T00:00/2026-09-30T10:00"
    assert decision.countersigned_by == house.officer


def test_one_count_does_not_move_the_book_of_class_b(house: TestHouse) -> None:
    census = house.compared({"bib": 21})
    with pytest.raises(CensusRefused, match="second one must confirm"):
        settle(house, census, "bib", Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-1))
    assert not house.row(census, "bib").needs_settling


def test_a_confirmed_class_b_count_inside_its_tolerance_moves_the_book(house: TestHouse) -> None:
    census = confirmed(house, {"bib": 21})
    row = house.row(census, "bib")
    assert row.book_must_move
    assert row.needs_settling
    with pytest.raises(CensusRefused, match="moves the book"):
        settle(house, census, "bib", Settling(how=How.COUNT_STANDS))
    settle(house, census, "bib", Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-1))
    assert held(house, "bib", "K1") == (21, 0)


def test_a_class_c_count_inside_its_error_moves_the_book_only_on_drift(house: TestHouse) -> None:
    census = house.compared({"shoal": 395})
    loss = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-25)
    with pytest.raises(CensusRefused, match="inside its error"):
        settle(house, census, "shoal", loss, approved_by=house.curator)
    drift = replace(loss, drift=True, evidence="26Q1 -2.7 %, 26Q2 -4.4 %, 26Q3 -6.0 %")
    settle(house, census, "shoal", drift, approved_by=house.curator)
    assert held(house, "shoal", "K1") == (395, 0)


def test_at_least_is_no_proof_of_a_loss(house: TestHouse) -> None:
    least = Entry(line=1, counted_at=COUNTED, counter=house.first, value=22, at_least=True)
    census = house.compared({"shoal": least})
    loss = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-398)
    with pytest.raises(CensusRefused, match="no proof of a loss"):
        settle(house, census, "shoal", loss, approved_by=house.curator)


def test_a_late_move_settles_both_lines_by_one_event(house: TestHouse) -> None:
    census = confirmed(house, {"wrasse": 24, "wrasse q": 0})
    move = Settling(how=How.LATE_MOVE, reason="late move", n=6, happened="2026-09-21")
    decision = settle(house, census, "wrasse q", move, other="wrasse")
    event = decision.events.get()
    assert (event.kind, event.happened) == (EventKind.MOVED, "2026-09-21")
    ours, theirs = Decision.objects.order_by("id")
    assert (ours.n, theirs.n) == (-6, 6)
    assert ours.events.get() == theirs.events.get()
    assert (ours.book, theirs.book) == (0, 24)
    for name in ("wrasse", "wrasse q"):
        line = ours.line if name == "wrasse q" else theirs.line
        row = next(row for row in read_census(census) if row.line == line)
        assert (row.state, row.latest and row.latest.difference) == (LineState.SETTLED, 0)


def test_a_change_of_name_regroups_to_the_other_lot_at_the_count_moment(house: TestHouse) -> None:
    census = confirmed(house, {"bib": 19, "cod": 18})
    settle(house, census, "bib", Settling(how=How.CHANGE_OF_NAME, reason="look-alike", n=3), other="cod")
    event = Event.objects.get(kind=EventKind.REGROUPED)
    assert event.effective_at == at("2026-09-30T10:00")
    assert held(house, "bib", "K1") == (19, 0)
    assert held(house, "cod", "K1") == (18, 0)
    assert house.row(census, "cod").state is LineState.SETTLED


def test_a_change_of_sex_moves_no_animal(house: TestHouse) -> None:
    census = confirmed(house, {"wrasse": 18})
    factories.make_event(
        "regrouped", lot=house.lots["wrasse"], place="K1", unknown=6, to_sex="female", happened="2026-07-02"
    )
    change = Settling(how=How.REGROUP, reason="sex change", n=1, from_sex="female", to_sex="male")
    settle(house, census, "wrasse", change)
    found = held_at([Point(house.lots["wrasse"].pk, house.places["K1"].pk, at("2026-10-01T00:00"))])[0]
    assert (found.males, found.females, found.unknown, found.total) == (1, 5, 12, 18)


def test_a_late_death_has_its_true_date_and_its_cause(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 10})
    death = Settling(
        how=How.LATE_EVENT,
        reason="body found",
        kind=EventKind.DIED,
        n=1,
        happened="2026-09-27",
        cause="jumped",
    )
    event = settle(house, census, "goby", death).events.get()
    assert (event.kind, event.happened, event.cause) == (EventKind.DIED, "2026-09-27", "jumped")
    assert house.row(census, "goby").state is LineState.SETTLED


def test_a_double_is_taken_back(house: TestHouse) -> None:
    double = factories.make_event("died", lot=house.lots["goby"], place="K1", happened="2026-09-12", ref="R2")
    census = confirmed(house, {"goby": 11})
    back = Settling(
        how=How.LATE_EVENT,
        reason="double entry",
        kind=EventKind.REVERSED,
        happened="2026-10-06",
        reverses=str(double.identifier),
    )
    settle(house, census, "goby", back)
    assert held(house, "goby", "K1") == (11, 0)


def test_two_individuals_that_were_taken_for_each_other_are_put_right_on_one_line(house: TestHouse) -> None:
    wrong = factories.make_event("died", lot=house.lots["hawser"], place="K1", happened="2026-09-01")
    census = house.compared({"conger": 1})
    house.count(census, {"conger": 1}, round=2)
    back = Settling(
        how=How.LATE_EVENT,
        reason="wrong lot",
        kind=EventKind.REVERSED,
        happened="2026-10-06",
        reverses=str(wrong.identifier),
    )
    death = Settling(
        how=How.LATE_EVENT,
        reason="late death entry",
        kind=EventKind.DIED,
        n=1,
        happened="2026-09-01",
        accessions=(house.lots["conger"].accession,),
    )
    settle(house, census, "conger", back)
    settle(house, census, "conger", death)
    row = house.row(census, "conger")
    assert {lot.house_name for lot in row.parts[0].lots} == {"Thole", "Hawser"}
    assert (row.state, row.latest and row.latest.book) == (LineState.SETTLED, 1)
    assert held(house, "hawser", "K1") == (1, 0)


def test_a_missing_animal_stays_in_the_total_and_is_not_expected_to_be_counted(house: TestHouse) -> None:
    census = confirmed(house, {"conger": 1})
    search = Settling(
        how=How.MISSING,
        n=1,
        accessions=(house.lots["conger"].accession,),
        owner="Runa",
        due=date(2026, 10, 14),
    )
    settle(house, census, "conger", search)
    assert held(house, "conger", "K1") == (1, 1)
    row = house.row(census, "conger")
    assert row.latest is not None
    assert (row.latest.book, row.latest.count, row.missing) == (1, 1, 1)


def test_a_write_in_is_decided_without_touching_the_book(house: TestHouse) -> None:
    census = house.compared({})
    sheet = house.line(census, "goby").sheet
    styela = Entry(line=0, written_name="Styela clava", counted_at=COUNTED, counter=house.first, value=3)
    take_counts(sheet=sheet, entries=[styela], by=house.first, now=NOW)
    events = Event.objects.count()
    line = Line.objects.get(written_name="Styela clava")
    note = Settling(how=How.OBSERVATION, note="introduced; the permit officer knows")
    decide_line(line=line, settling=note, by=house.registrar, now=NOW, zone=ZONE)
    row = next(row for row in read_census(census) if row.line == line)
    assert (row.state, Event.objects.count()) == (LineState.SETTLED, events)
    with pytest.raises(CensusRefused, match="has no lot in the book"):
        decide_line(
            line=line,
            settling=Settling(how=How.ADJUSTMENT, reason="settled from sea water", n=3),
            by=house.registrar,
            now=NOW,
            zone=ZONE,
        )


def test_a_late_move_the_wrong_way_is_refused_and_names_the_line_to_state_it_on(house: TestHouse) -> None:
    census = confirmed(house, {"wrasse": 24, "wrasse q": 0})
    move = Settling(how=How.LATE_MOVE, reason="late move", n=6, happened="2026-09-21")
    giving = house.line(census, "wrasse q")
    with pytest.raises(CensusRefused, match=f"6 above the book.* state it on {giving}"):
        settle(house, census, "wrasse", move, other="wrasse q")
    assert not Decision.objects.exists()
    settle(house, census, "wrasse q", move, other="wrasse")
    assert (held(house, "wrasse", "K1")[0], held(house, "wrasse q", "K1")[0]) == (18, 6)
    settled = [row.line for row in read_census(census) if row.state is LineState.SETTLED]
    assert settled == [house.line(census, "wrasse"), giving]


def test_a_change_of_name_the_wrong_way_is_refused(house: TestHouse) -> None:
    census = confirmed(house, {"bib": 19, "cod": 18})
    alike = Settling(how=How.CHANGE_OF_NAME, reason="look-alike", n=3)
    with pytest.raises(CensusRefused, match=f"state it on {house.line(census, 'bib')}"):
        settle(house, census, "cod", alike, other="bib")
    settle(house, census, "bib", alike, other="cod")
    assert house.row(census, "cod").state is LineState.SETTLED


def test_what_explains_a_part_of_a_difference_leaves_the_line_open(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    body = Settling(how=How.LATE_EVENT, kind=EventKind.DIED, n=2, happened="2026-09-27")
    first = settle(house, census, "goby", body)
    row = house.row(census, "goby")
    assert (row.state, row.needs_settling, row.reopened) == (LineState.CONFIRMED, True, False)
    assert settle(house, census, "goby", body) == first, "the same statement again is still one decision"
    settle(house, census, "goby", replace(SUSPECTED, n=-3), approved_by=house.curator)
    row = house.row(census, "goby")
    assert (row.state, row.needs_settling) == (LineState.SETTLED, False)


def test_an_open_query_settles_a_line_that_stays_outside(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    settle(house, census, "goby", Settling(how=How.OPEN_QUERY, owner="Bror", due=date(2026, 11, 1)))
    assert house.row(census, "goby").state is LineState.SETTLED


def test_a_refusal_names_the_line_once(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    line = house.line(census, "goby")
    bad = Asked(str(line), Settling(how=How.COUNT_STANDS), "", "", "", str(line))
    with pytest.raises(CensusRefused) as refused:
        settle_many(census=census, asked=[bad], by=house.registrar, now=NOW, zone=ZONE)
    assert [problem.count(str(line)) for problem in refused.value.problems] == [1]


@pytest.mark.parametrize(
    ("happened", "to_place", "missing"),
    [
        ("2026-09-21", "", "needs the place it went to"),
        ("", "K2", "needs the day when it happened"),
        ("", "", "needs the place it went to and the day when it happened"),
    ],
)
def test_a_late_move_says_what_is_missing_in_it(happened: str, to_place: str, missing: str) -> None:
    stated = Settling(how=How.LATE_MOVE, n=5, happened=happened, to_place=to_place)
    assert check(stated) == [f"a late move {missing}"]


def test_a_late_event_opens_a_settled_line_again(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    settle(house, census, "goby", SUSPECTED, approved_by=house.curator)
    factories.make_event("died", lot=house.lots["goby"], place="K1", happened="2026-09-27")
    row = house.row(census, "goby")
    assert row.reopened
    assert (row.state, row.latest and row.latest.difference) == (LineState.CONFIRMED, 1)
    assert row.needs_settling


def test_a_late_event_after_the_count_moment_leaves_the_line_settled(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    settle(house, census, "goby", SUSPECTED, approved_by=house.curator)
    factories.make_event("died", lot=house.lots["goby"], place="K1", happened="2026-10-01")
    assert house.row(census, "goby").state is LineState.SETTLED


def test_a_slip_typed_late_settles_an_undecided_line_by_itself(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 10})
    assert house.row(census, "goby").needs_settling
    factories.make_event("died", lot=house.lots["goby"], place="K1", happened="2026-09-27")
    assert house.row(census, "goby").state is LineState.AGREES


def test_losses_and_gains_of_a_joined_set_are_settled_on_its_sum(house: TestHouse) -> None:
    census = confirmed(house, {"prawn a": 18, "prawn b": 25})
    row = house.row(census, "prawn b")
    assert row.latest is not None
    assert (row.latest.book, row.latest.count, row.latest.difference) == (42, 43, 1)
    walked = Settling(how=How.LATE_MOVE, reason="joined tanks", n=12, happened="2026-09-29T09:00")
    settle(house, census, "prawn a", walked, other="prawn b")
    found = Settling(
        how=How.ADJUSTMENT,
        reason="unexplained gain",
        n=1,
        accessions=(house.lots["prawn b"].accession,),
    )
    settle(house, census, "prawn b", found)
    assert held(house, "prawn a", "RA")[0] == 18
    assert held(house, "prawn a", "RB")[0] + held(house, "prawn b", "RB")[0] == 25
    assert house.row(census, "prawn b").state is LineState.SETTLED


def test_a_loss_of_sexed_animals_says_which(house: TestHouse) -> None:
    factories.make_event(
        "regrouped", lot=house.lots["goby"], place="K1", unknown=6, to_sex="male", happened="2026-07-02"
    )
    census = confirmed(house, {"goby": 9})
    two_males = Settling(how=How.ADJUSTMENT, reason="unexplained loss", n=-2, numbers=Numbers(males=2))
    settle(house, census, "goby", two_males)
    found = held_at([Point(house.lots["goby"].pk, house.places["K1"].pk, at("2026-10-01T00:00"))])[0]
    assert (found.males, found.unknown) == (4, 5)


def test_a_batch_of_decisions_is_all_or_nothing(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6, "wrasse": 16})
    good = Asked("K1 Gobius niger", SUSPECTED, "", house.curator.name, "", "row 2")
    bad = Asked("K1 Symphodus melops", Settling(how=How.COUNT_STANDS), "", "", "", "row 3")
    lost = Asked("K9 Nothing here", Settling(how=How.COUNT_STANDS), "", "", "", "row 4")
    with pytest.raises(CensusRefused) as refused:
        settle_many(census=census, asked=[good, bad, lost], by=house.registrar, now=NOW, zone=ZONE)
    assert [problem.partition(":")[0] for problem in refused.value.problems] == [
        "row 3",
        "row 4, column line",
    ]
    assert not Decision.objects.exists()
    assert held(house, "goby", "K1") == (HELD["goby"], 0)
    settle_many(census=census, asked=[good], by=house.registrar, now=NOW, zone=ZONE)
    assert held(house, "goby", "K1") == (6, 0)


def test_nothing_is_decided_before_the_counts_are_compared(house: TestHouse) -> None:
    census = house.opened_and_issued()
    house.count(census, {"goby": 11})
    with pytest.raises(CensusRefused, match="compare the counts first"):
        settle(house, census, "goby", Settling(how=How.COUNT_STANDS))


@pytest.mark.parametrize("sql", ["UPDATE {} SET id = id + 100", "DELETE FROM {}"])
@pytest.mark.parametrize("table", ["rounds_decision", "rounds_decision_events"])
def test_the_database_refuses_to_change_a_decision(house: TestHouse, table: str, sql: str) -> None:
    census = confirmed(house, {"goby": 6})
    settle(house, census, "goby", SUSPECTED, approved_by=house.curator)
    with (
        pytest.raises(IntegrityError, match="append-only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql.format(table))
