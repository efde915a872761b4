"""Each kind of entry: what it does to the book, and what it refuses."""

from datetime import date, timedelta
from typing import Any

import pytest

from inventory.book.models import Cell, Event, Flag, Lot
from inventory.book.models.flags import FlagKind
from inventory.people.rules.roles import Role
from inventory.tankside.actions.quarantine import set_least_days
from inventory.tankside.day_list import items
from inventory.tankside.models import Body, Entry, Reading

from ..factories import NOW, make_event, make_lot, make_person, make_place, make_taxon
from .conftest import Tablet, TankHouse


def last() -> Event:
    return Event.objects.latest("id")


def problems(answer: dict[str, Any]) -> dict[str, str]:
    assert answer["outcome"] == "came back", answer
    return {problem["field"]: problem["words"] for problem in answer["problems"]}


def flags(answer: dict[str, Any]) -> set[str]:
    assert answer["outcome"] == "sent", answer
    return {flag["kind"] for flag in answer["flags"]}


def balances(lot: Lot) -> dict[tuple[str, str, str], int]:
    """What stands inside, by (sex, stage, standing)."""
    cells = Cell.objects.filter(lot=lot, inside=True).exclude(balance=0)
    return {(cell.sex, cell.stage, cell.standing): cell.balance for cell in cells}


def test_missing_keeps_fact_and_suspicion_apart(house: TankHouse, tablet: Tablet) -> None:
    answer = tablet.one(
        tablet.entry(
            "missing", lot="R1", n=1, last_seen="2026-10-03", suspicion="jumped", happened="2026-10-06T08:00"
        )
    )
    assert answer["words"] == "1 missing, thornback ray, Kelp Hall, 08:00"
    event = last()
    assert (event.kind, event.happened) == ("missing", "2026-10-03/2026-10-06T08:00")
    assert (event.cause, event.reason) == ("", "suspected: jumped")
    assert balances(house.ray) == {("unknown", "", "present"): 3, ("unknown", "", "missing"): 1}
    tablet.one(tablet.entry("seen_again", lot="R1", n=1))
    assert balances(house.ray) == {("unknown", "", "present"): 4}


def test_a_suspected_cause_of_death_is_no_cause(tablet: Tablet) -> None:
    tablet.one(tablet.entry(lot="G1", n=1, suspicion="eaten by the conger"))
    assert (last().cause, last().reason) == ("not known", "suspected: eaten by the conger")


def test_a_move_takes_part_with_its_sexes_as_one_event(house: TankHouse, tablet: Tablet) -> None:
    make_event("received", lot=house.gobies, place=house.kelp_hall, females=5, males=2)
    moved = tablet.entry("moved", lot="G1", to_place="Q1", numbers={"females": 3, "unknown": 10})
    assert tablet.one(moved)["words"] == "13 moved, two-spotted goby, Kelp Hall to Quarantine, 09:00"
    assert (house.held(house.gobies, house.kelp_hall), house.held(house.gobies, house.quarantine)) == (
        194,
        13,
    )
    there = Cell.objects.filter(lot=house.gobies, account__place=house.quarantine)
    assert {cell.sex: cell.balance for cell in there} == {"female": 3, "unknown": 10}


def test_a_move_of_more_than_the_book_comes_back_until_it_is_insisted_on(
    house: TankHouse, tablet: Tablet
) -> None:
    entry = tablet.entry("moved", lot="R1", n=6, to_place="Q1")
    said = problems(tablet.one(entry))["more_than_book"]
    assert "I count more than the book" in said
    assert "4" not in said, "the book's number is not told"
    assert house.held(house.ray, house.kelp_hall) == 4
    insisted = tablet.entry(
        "moved", lot="R1", n=6, to_place="Q1", more_than_book=True, replaces=entry["identifier"]
    )
    assert "more_than_book" in flags(tablet.one(insisted))
    assert (house.held(house.ray, house.kelp_hall), house.held(house.ray, house.quarantine)) == (-2, 6)
    kinds = set(Flag.objects.filter(event=last()).values_list("kind", "owner__name"))
    assert kinds == {("more_than_book", "Maren"), ("below_zero", "Maren")}


def test_more_deaths_than_the_book_holds_are_taken_and_flagged_with_an_owner(
    house: TankHouse, tablet: Tablet
) -> None:
    assert "more_than_book" in flags(tablet.one(tablet.entry(lot="R1", n=5)))
    assert house.held(house.ray) == -1
    assert set(Flag.objects.filter(event=last()).values_list("kind", "owner__name")) == {
        ("more_than_book", "Maren"),
        ("below_zero", "Maren"),
    }


def test_an_individual_does_not_die_twice(house: TankHouse, tablet: Tablet) -> None:
    first = tablet.one(tablet.entry(lot="W1", n=1))
    assert first["words"] == "dead, Old Tom, Kelp Hall, 09:00"
    second = problems(tablet.one(tablet.entry(lot="W1", n=1)))
    assert "died on 2026-10-06" in second["lot"]
    assert house.held(house.wolffish) == 0


@pytest.mark.parametrize(
    ("kind", "event", "words"),
    [
        ("born", "born", "7 born"),
        ("hatched", "born", "7 hatched"),
        ("divided", "divided", "7 more by division"),
        ("settled", "settled", "7 settled from sea water"),
        ("found", "found", "7 found"),
        ("arrived", "received", "7 arrived"),
    ],
)
def test_what_adds_animals(house: TankHouse, tablet: Tablet, kind: str, event: str, words: str) -> None:
    answer = tablet.one(tablet.entry(kind, lot="G1", n=7))
    assert answer["words"].startswith(words)
    assert (last().kind, house.held(house.gobies)) == (event, 207)


def test_an_arrival_says_that_its_papers_are_still_to_come(tablet: Tablet) -> None:
    tablet.one(tablet.entry("arrived", lot="G1", n=7))
    assert "papers" in last().reason


def test_sexing_keeps_the_total(house: TankHouse, tablet: Tablet) -> None:
    answer = tablet.one(tablet.entry("sexed", lot="R1", n=3, to_sex="female"))
    assert answer["words"] == "3 now female, thornback ray, Kelp Hall, 09:00"
    assert balances(house.ray) == {("unknown", "", "present"): 1, ("female", "", "present"): 3}
    tablet.one(tablet.entry("sexed", lot="R1", n=1, from_sex="female", to_sex="male"))
    assert balances(house.ray)["male", "", "present"] == 1
    assert house.held(house.ray) == 4


def test_a_new_stage_keeps_the_total(house: TankHouse, tablet: Tablet) -> None:
    tablet.one(tablet.entry("staged", lot="R1", n=2, to_stage="adult"))
    assert balances(house.ray) == {("unknown", "", "present"): 2, ("unknown", "adult", "present"): 2}


def test_egg_cases_are_a_lot_of_their_own_and_no_animals(house: TankHouse, tablet: Tablet) -> None:
    answer = tablet.one(tablet.entry("eggs", lot="R1", n=4))
    assert answer["words"] == "4 egg cases laid, thornback ray, Kelp Hall, 09:00"
    eggs = Lot.objects.get(unit="egg case")
    assert (eggs.taxon, house.held(eggs), house.held(house.ray)) == (house.ray.taxon, 4, 4)
    tablet.one(tablet.entry("eggs", lot="R1", n=2, saved_at=NOW - timedelta(hours=1)))
    tablet.one(tablet.entry("eggs", lot=eggs.accession, n=1))
    assert (Lot.objects.filter(unit="egg case").count(), house.held(eggs)) == (1, 7)
    tablet.one(tablet.entry("eggs", lot="R1", n=1, stage="egg mass"))
    assert house.held(Lot.objects.get(unit="egg mass")) == 1


def test_what_hatches_out_of_egg_cases_are_animals_of_another_lot(house: TankHouse, tablet: Tablet) -> None:
    tablet.one(tablet.entry("eggs", lot="R1", n=4))
    eggs = Lot.objects.get(unit="egg case")
    tablet.one(tablet.entry("hatched", lot=eggs.accession, to_lot="R1", n=3))
    assert (house.held(house.ray), house.held(eggs)) == (7, 4)


def test_a_note_changes_no_number_and_needs_words(house: TankHouse, tablet: Tablet) -> None:
    before = Event.objects.count()
    answer = tablet.one(tablet.entry("note", lot="G1", note="spawning colours"))
    assert (answer["event"], answer["words"]) == (
        None,
        "note, two-spotted goby, Kelp Hall: spawning colours",
    )
    assert (Event.objects.count(), Entry.objects.get().body["note"]) == (before, "spawning colours")
    assert "note" in problems(tablet.one(tablet.entry("note", note="  ")))


def test_a_reading_goes_to_the_tank_log(tablet: Tablet) -> None:
    entry = tablet.entry("reading", reading={"quantity": "temperature", "value": "11.4", "unit": "°C"})
    answer = tablet.one(entry)
    assert answer["words"].startswith("Temperature 11.4 °C, Kelp Hall")
    assert (Reading.objects.get().by, Reading.objects.get().device) == (tablet.person, "Blue")
    nonsense = {"quantity": "temperature", "value": "400", "unit": "°C"}
    assert "value" in problems(tablet.one(tablet.entry("reading", reading=nonsense)))
    assert tablet.one(entry)["already"]
    assert Reading.objects.count() == 1


def test_a_body_is_kept_with_its_death_and_class_a_needs_one(tablet: Tablet) -> None:
    body = {"kept": "freezer", "bag": "F-12", "part": "whole"}
    assert flags(tablet.one(tablet.entry(lot="R2", n=1, body=body))) == set()
    assert (Body.objects.get().bag, Body.objects.get().event) == ("F-12", last())
    assert "body" in flags(tablet.one(tablet.entry(lot="R2", n=1, saved_at=NOW - timedelta(hours=1))))
    assert flags(tablet.one(tablet.entry(lot="G1", n=1))) == set(), "of class C it is nobody's duty"


def test_a_bag_holds_one_death_and_the_second_is_kept_with_a_question(tablet: Tablet) -> None:
    body = {"kept": "freezer", "bag": "F-12"}
    first = tablet.one(tablet.entry(lot="G1", n=1, body=body))
    second = tablet.one(tablet.entry(lot="G1", n=2, body=body))
    assert flags(second) == {"body"}
    assert f"in use for event {first['event']}" in second["flags"][0]["words"]
    assert sorted(Body.objects.values_list("bag", flat=True)) == ["", "F-12"]


def test_what_an_entry_lacks_is_said_all_at_once(tablet: Tablet) -> None:
    said = problems(tablet.one(tablet.entry("moved", place="")))
    assert set(said) == {"place", "lot", "numbers", "to_place"}


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"place": "E99", "lot": "G1", "n": 1}, "place"),
        ({"lot": "G99", "n": 1}, "lot"),
        ({"lot": "G1", "n": 1, "person": 999_999}, "person"),
        ({"lot": "G1", "n": 1, "person": None}, "person"),
        ({"lot": "G1", "n": 1, "open_name": "set:rays"}, "open_name"),
        ({"open_name": "set:unicorns", "n": 1}, "open_name"),
        ({"open_name": "rays", "n": 1}, "open_name"),
        ({"lot": "G1", "n": 1, "happened": "2026-10-07"}, "happened"),
        ({"lot": "G1", "n": 1, "happened": "yesterday"}, "happened"),
        ({"kind": "moved", "lot": "G1", "n": 1, "to_place": "E99"}, "to_place"),
        ({"kind": "sexed", "lot": "G1", "n": 1}, "to_sex"),
        ({"kind": "staged", "lot": "G1", "n": 1}, "to_stage"),
        ({"kind": "missing", "lot": "G1", "n": 1, "last_seen": "monday"}, "last_seen"),
        ({"kind": "born", "open_name": "set:rays", "n": 1}, "open_name"),
        ({"kind": "undo"}, "undoes"),
        ({"kind": "reading"}, "reading"),
    ],
)
def test_what_cannot_be_comes_back_with_its_field_and_is_kept(
    house: TankHouse, tablet: Tablet, said: dict[str, Any], field: str
) -> None:
    before = Event.objects.count()
    said = dict(said)
    answer = tablet.one(tablet.entry(said.pop("kind", "died"), **said))
    assert field in problems(answer)
    assert Event.objects.count() == before
    kept = Entry.objects.get()
    assert (str(kept.identifier), kept.outcome, kept.answer) == (answer["identifier"], "came back", answer)


def test_an_entry_that_comes_back_leaves_nothing_it_made(house: TankHouse, tablet: Tablet) -> None:
    """The lot of an open name is made for an entry; when the entry comes back it goes with it."""
    lots = Lot.objects.count()
    tablet.one(tablet.entry(open_name="set:rays", n=1, happened="2026-10-07"))
    tablet.one(tablet.entry("eggs", lot="R1", n=1, happened="2026-10-07"))
    assert Lot.objects.count() == lots


def test_an_open_name_takes_one_from_the_tank_and_from_no_kind(house: TankHouse, tablet: Tablet) -> None:
    answer = tablet.one(tablet.entry(open_name="set:rays", n=1))
    assert answer["words"] == "1 dead, rays, species open, Kelp Hall, 09:00"
    assert flags(answer) == {"open_name", "body"}
    open_lot = last().flows.get().from_cell.lot
    assert (house.held(open_lot), house.held(house.ray), house.held(house.other_ray)) == (-1, 4, 3)
    in_tank = sum(Cell.objects.filter(account__place=house.kelp_hall).values_list("balance", flat=True))
    assert in_tank == 200 + 4 + 3 + 1 - 1
    assert (open_lot.taxon.count_class, open_lot.unit) == ("A", "animal"), "the strictest of its members"
    flag = Flag.objects.get(kind=FlagKind.OPEN_NAME)
    assert (flag.owner, flag.lot) == (house.registrar, open_lot)


def test_an_open_name_has_one_lot_in_each_place_and_one_taxon(house: TankHouse, tablet: Tablet) -> None:
    make_event(
        "moved", lot=house.ray, place=house.kelp_hall, to_place=house.quarantine, happened="2026-09-02"
    )
    for place in ("E02", "E02", "Q1"):
        tablet.one(tablet.entry(open_name="genus:Raja", n=1, place=place))
    lots = Lot.objects.filter(taxon__scientific_name="Raja sp.")
    assert lots.count() == 2
    assert {lot.held for lot in lots} == {-2, -1}


def test_colonies_and_animals_of_one_genus_are_two_open_names(house: TankHouse, tablet: Tablet) -> None:
    for name in ("Alcyonium digitatum", "Alcyonium glomeratum"):
        corals = make_lot(taxon=make_taxon(name, unit="colony", count_class="B"), unit="colony")
        make_event("received", lot=corals, place=house.kelp_hall, unknown=2)
    answer = tablet.one(tablet.entry(open_name="genus:Alcyonium|colony", n=1))
    assert answer["words"].startswith("1 colony dead")
    assert last().flows.get().from_cell.lot.unit == "colony"


def test_a_place_is_a_tank_of_ours_and_not_of_feed(house: TankHouse, tablet: Tablet) -> None:
    make_place("F1", kind="feed")
    assert "place" in problems(tablet.one(tablet.entry("born", lot="G1", n=1, place="F1")))


def test_who_moves_animals_out_of_quarantine_too_early_is_told_at_once(
    house: TankHouse, tablet: Tablet
) -> None:
    """The plan's days, their source invented; the move is booked all the same, for it was done."""
    vet = make_person("Dr Ylva", roles=["veterinarian"])
    curator = make_person("Osric", roles=["curator"])
    set_least_days(group="", min_days=30, since=date(2026, 1, 1), source="our plan", by=vet, now=NOW)
    ward = make_place("Q9", kind="quarantine", name="Quarantine fish")
    early, late = make_lot("Q-1", taxon=house.gobies.taxon), make_lot("Q-2", taxon=house.gobies.taxon)
    for lot, happened in ((early, NOW - timedelta(days=9)), (late, NOW - timedelta(days=31))):
        make_event("received", lot=lot, place=ward, unknown=5, happened=f"{happened:%Y-%m-%d}")
    move = {"place": "Q9", "to_place": "E02", "n": 2}
    first, second = tablet.send(
        tablet.entry("moved", lot="Q-1", **move), tablet.entry("moved", lot="Q-2", **move)
    )
    assert (first["outcome"], second["outcome"]) == ("sent", "sent")
    due = (NOW + timedelta(days=21)).date()
    (told,) = [flag for flag in first["flags"] if flag["kind"] == "quarantine"]
    assert told["words"].startswith(f"the days in Quarantine fish are full on {due} and no release is signed")
    assert [flag for flag in second["flags"] if flag["kind"] == "quarantine"] == []
    for person in (vet, curator):
        headings = [
            item.heading
            for item in items(person, now=NOW + timedelta(hours=1))
            if item.roles & {Role.CURATOR}
        ]
        assert "Left quarantine before the least days, without a release" in headings
