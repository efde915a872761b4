"""Slips: what is kept enters the stock with them, what the permit does not allow becomes a case."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from inventory.book.models import Event, Lot
from inventory.permits.actions.cases import close_case, give_case, note_case
from inventory.permits.actions.entries import TripRefused
from inventory.permits.actions.permits import LineFacts, LinkFacts, VersionFacts, amend_permit, enter_permit
from inventory.permits.actions.takes import correct_take, move_take
from inventory.permits.actions.trips import correct_trip
from inventory.permits.models import Case, CaseKind, Permit, PermitLine, Take, Trip, VersionKind
from inventory.permits.queries.accounts import account
from inventory.permits.queries.takes import current_takes, trail_of

from .. import factories
from .house import (
    ANEMONES,
    COMB,
    CRUSTACEANS,
    GOBY,
    JEWEL,
    LINES,
    LOBSTER,
    PermitHouse,
    a_take,
    a_trip,
    make_permit_house,
)

DAY = date(2026, 10, 6)


def _used(house: PermitHouse, line: int) -> tuple[int, int, int, int, int | None]:
    rows = account(house.permit, as_of=DAY, zone=house.zone).lines
    used = next(row.used for row in rows if row.number == line)
    return used.caught, used.let_go, used.died, used.kept, used.left


def _kinds() -> list[str]:
    return sorted(Case.objects.filter(closed_at=None).values_list("kind", flat=True))


def test_what_was_kept_is_in_the_stock_and_what_died_before_is_not(house: PermitHouse) -> None:
    recorded = house.record(a_take("two-spotted goby", 4, let_go=1, died=2))
    (take,) = recorded.takes
    event = Event.objects.get()
    assert (event.kind, event.permit_number, event.flows.get().n) == ("taken", "TEST 1", 4)
    assert take.lot
    assert Lot.objects.get(pk=take.lot.pk).held == 4
    assert _used(house, GOBY) == (7, 1, 2, 4, 4)
    assert recorded.cases == []


def test_the_same_slip_sent_twice_is_one_trip_with_one_answer(house: PermitHouse) -> None:
    slip, row = a_trip(), a_take("goby of some kind", 1)
    first = house.record(row, identifier=slip.identifier)
    second = house.record(row, identifier=slip.identifier)
    assert (second.trip, second.already, list(second.takes)) == (first.trip, True, list(first.takes))
    assert (Trip.objects.count(), Take.objects.count(), Event.objects.count()) == (1, 1, 1)


def test_a_slip_in_order_opens_no_case(house: PermitHouse) -> None:
    recorded = house.record(
        a_take("Urticina felina", 2), a_take("shore crab", 3), a_take("Pleurobrachia pileus", let_go=1)
    )
    assert recorded.cases == []
    assert [take.line_number for take in recorded.takes] == [ANEMONES, CRUSTACEANS, COMB]


def test_a_listed_animal_is_not_counted_with_those_not_listed(house: PermitHouse) -> None:
    house.record(a_take("Homarus gammarus", 1), a_take("Carcinus maenas", 2))
    assert _used(house, LOBSTER)[3] == 1
    assert _used(house, CRUSTACEANS)[3] == 2


def test_a_take_after_expiry_is_recorded_and_becomes_a_case(house: PermitHouse) -> None:
    recorded = house.record(a_take("two-spotted goby", 1), happened="2026-10-02")
    (case,) = recorded.cases
    assert (case.kind, case.owner) == (CaseKind.EXPIRED, house.officer)
    assert case.words == "2026-10-02 is 2 days after TEST 1 expired on 2026-09-30"
    assert Lot.objects.get().held == 1


@pytest.mark.parametrize(
    ("slip", "kind", "words"),
    [
        ({"happened": "2025-12-31"}, "expired", "before TEST 1 begins on 2026-01-01"),
        ({"people": ["The curator"]}, "not_named", "The curator not named on TEST 1"),
        ({"people": []}, "not_named", "nobody is said to have been on the trip"),
        ({"gear": "trawl"}, "gear", "trawl used; TEST 1 allows hand net, creel"),
        ({"gear": ""}, "gear", "the gear is not said"),
        ({"latitude": Decimal("62.1")}, "outside_area", "outside the area of TEST 1 (inside three miles)"),
        (
            {"latitude": Decimal("-4.5"), "longitude": Decimal("60.5")},
            "coordinates",
            "swapped, they lie inside the area of TEST 1",
        ),
        ({"longitude": None}, "coordinates", "only one of latitude and longitude"),
    ],
)  # fmt: skip
def test_what_a_trip_breaks_is_told_and_never_blocks(
    house: PermitHouse, slip: dict[str, Any], kind: str, words: str
) -> None:
    (case,) = house.record(a_take("two-spotted goby", 1), **slip).cases
    assert case.kind == kind
    assert words in case.words
    assert Take.objects.count() == 1


def test_a_season_that_is_closed_is_told(db: None) -> None:
    house = make_permit_house(seasons=[("04-01", "06-30"), ("11-01", "01-31")])
    assert [case.kind for case in house.record(a_take("two-spotted goby", 1)).cases] == [CaseKind.SEASON]
    assert house.record(a_take("two-spotted goby", 1), happened="2026-01-05").cases == []


def test_coordinates_that_cannot_be_any_are_kept_as_written_and_asked_for(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 1), latitude=Decimal("160.5"))
    assert Case.objects.get().kind == CaseKind.COORDINATES
    trip = Trip.objects.get()
    assert trip.latitude is None
    assert "coordinates as written: 160.5, -4.5" in trip.note
    correct_trip(
        trip=trip, entry=a_trip(), why="read again", by=house.officer, now=house.now, zone=house.zone
    )
    assert _kinds() == []
    assert Case.objects.get().notes.last().words == "read again"  # type: ignore[union-attr]


def test_animals_of_no_line_are_recorded_and_told(house: PermitHouse) -> None:
    (case,) = house.record(a_take("Asterias rubens", 2)).cases
    assert (case.kind, case.words) == ("not_listed", "no line of TEST 1 covers 'Asterias rubens'")
    rows = account(house.permit, as_of=DAY, zone=house.zone).lines
    assert (rows[-1].line, rows[-1].used.kept, rows[-1].names) == (None, 2, ("Asterias rubens",))


def test_a_limit_in_another_unit_is_told_clearly_and_the_take_is_kept(house: PermitHouse) -> None:
    (case,) = house.record(a_take("Corynactis viridis", 30, unit="animal")).cases
    assert case.kind == CaseKind.UNIT
    assert "counted in 'animal', the line “Jewel anemone, rock pieces” in 'piece'" in case.words
    assert _used(house, JEWEL) == (0, 0, 0, 0, 3)
    assert Lot.objects.get().held == 30


def test_pieces_count_against_the_limit_and_animals_enter_the_stock(house: PermitHouse) -> None:
    house.record(a_take("Corynactis viridis", 2, unit="piece", into_stock=60))
    assert _used(house, JEWEL)[3:] == (2, 1)
    assert Lot.objects.get().held == 60


def test_pieces_without_a_number_for_the_stock_are_asked_for_it(house: PermitHouse) -> None:
    with pytest.raises(TripRefused, match="say how many of the unit 'animal' went into the stock"):
        house.record(a_take("Corynactis viridis", 2, unit="piece"))
    assert not Trip.objects.exists()


def test_a_lobster_with_eggs_that_was_kept_is_a_case_and_one_let_go_is_none(house: PermitHouse) -> None:
    assert house.record(a_take("Homarus gammarus", let_go=1, berried=True)).cases == []
    (case,) = house.record(a_take("Homarus gammarus", 1, berried=True)).cases
    assert case.kind == CaseKind.CONDITION


def test_over_the_limit_is_one_case_that_follows_the_numbers(house: PermitHouse) -> None:
    assert house.record(a_take("two-spotted goby", 9, died=1)).cases == []
    (case,) = house.record(a_take("two-spotted goby", 2)).cases
    assert (case.kind, case.line_number) == (CaseKind.OVER_LIMIT, GOBY)
    assert "limit 10: over by 2" in case.words
    house.record(a_take("two-spotted goby", 1))
    assert [note.words[-9:] for note in case.notes.all()] == ["over by 2", "over by 3"]
    assert Case.objects.count() == 1


def test_animals_let_go_alive_count_only_where_the_permit_says_so(house: PermitHouse) -> None:
    assert house.record(a_take("two-spotted goby", let_go=11)).cases == []
    goby = LinkFacts("taxon", ["Pomatoschistus flavescens"])
    amend_permit(
        permit=house.permit,
        facts=VersionFacts(
            valid_from=date(2026, 1, 1),
            valid_until=date(2026, 9, 30),
            lines=[LineFacts("Goby", 10, number=1, let_go_alive_counts=True, link=goby)],
        ),
        kind=VersionKind.AMENDMENT,
        amended_on=date(2026, 9, 2),
        by=house.officer,
        now=house.now,
    )
    (line,) = [row for row in account(house.permit, as_of=DAY, zone=house.zone).lines if row.number == 1]
    assert (line.used.counted, line.used.over) == (11, 1)


def test_the_limit_of_a_trip_is_counted_by_trip(house: PermitHouse) -> None:
    assert house.record(a_take("Pleurobrachia pileus", 5)).cases == []
    assert house.record(a_take("Pleurobrachia pileus", 5), happened="2026-09-02").cases == []
    (case,) = house.record(a_take("Pleurobrachia pileus", 6), happened="2026-09-03").cases
    assert "6 counted under “Comb jellies, a trip”, limit 5 a trip: over by 1" in case.words


def test_numbers_that_do_not_add_up_are_sent_back_whole(house: PermitHouse) -> None:
    with pytest.raises(TripRefused) as refused:
        house.record(a_take("two-spotted goby", 1), a_take("shore crab", 2, caught=5))
    (problem,) = refused.value.problems
    assert (problem.draft, problem.column) == (1, "caught")
    assert "5 caught, but 0 let go, 0 died and 2 kept are 2" in problem.message
    assert not Trip.objects.exists()
    assert not Event.objects.exists()


def test_a_place_that_is_none_and_a_lot_of_another_animal_are_sent_back(house: PermitHouse) -> None:
    lot = factories.make_lot("G1", taxon=house.taxa["Carcinus maenas"])
    with pytest.raises(TripRefused) as refused:
        house.record(
            a_take("two-spotted goby", 1, place=""),
            a_take("two-spotted goby", 1, place="Z9"),
            a_take("two-spotted goby", 1, lot=lot.accession),
        )
    assert [(p.draft, p.column) for p in refused.value.problems] == [(0, "place"), (1, "place"), (2, "lot")]
    assert not Trip.objects.exists()


def test_animals_join_a_lot_that_is_chosen(house: PermitHouse) -> None:
    lot = factories.make_lot("G1", taxon=house.taxa["Carcinus maenas"])
    house.record(a_take("shore crab", 3, lot="G1"))
    assert Lot.objects.get(pk=lot.pk).held == 3


def test_a_correction_keeps_the_first_statement_and_mends_the_stock(house: PermitHouse) -> None:
    """As in case C35 of the demo: typed as 3 kept, one of them was let go."""
    (take,) = house.record(a_take("Homarus gammarus", 3)).takes
    assert _kinds() == ["over_limit"]
    correct_take(
        take=take,
        entry=a_take("Homarus gammarus", 2, let_go=1, place=""),
        why="one was let go",
        by=house.officer,
        now=house.now + timedelta(days=1),
        zone=house.zone,
    )
    now = Take.objects.get(replaced_by=None)
    assert [(row.kept, row.let_go) for row in trail_of(now)] == [(3, 0), (2, 1)]
    assert now.lot == take.lot
    assert Lot.objects.get().held == 2
    assert _kinds() == []
    case = Case.objects.get()
    assert case.closed_by == house.officer
    assert case.notes.last().words == "one was let go"  # type: ignore[union-attr]


def test_a_correction_that_changes_no_number_leaves_the_ledger_alone(house: PermitHouse) -> None:
    (take,) = house.record(a_take("shore crab", 2)).takes
    entry = a_take("shore crab", 2, let_go=4, place="")
    why = "let go were forgotten"
    correct_take(take=take, entry=entry, why=why, by=house.officer, now=house.now, zone=house.zone)
    assert Event.objects.count() == 1
    (read,) = current_takes()
    assert (read.take.caught, read.event_ids) == (6, (Event.objects.get().pk,))


def test_a_row_that_was_corrected_is_not_corrected_again(house: PermitHouse) -> None:
    (take,) = house.record(a_take("shore crab", 2)).takes
    for expected in ("", "it was corrected already"):
        stated = {"why": "once more", "by": house.officer, "now": house.now, "zone": house.zone}
        if not expected:
            correct_take(take=take, entry=a_take("shore crab", 3), **stated)  # type: ignore[arg-type]
            continue
        with pytest.raises(TripRefused, match=expected):
            correct_take(take=take, entry=a_take("shore crab", 4), **stated)  # type: ignore[arg-type]


def _second_permit(house: PermitHouse) -> Permit:
    return enter_permit(
        number="TEST 2",
        authority="BOARD",
        holder="Test Aquarium",
        facts=VersionFacts(valid_from=date(2026, 10, 1), valid_until=date(2027, 9, 30), lines=LINES),
        by=house.officer,
        now=house.now,
    )


def test_a_take_moved_to_another_permit_keeps_its_trail(house: PermitHouse) -> None:
    """As in case C36 of the demo: booked to a permit that had expired."""
    second = _second_permit(house)
    (take,) = house.record(a_take("two-spotted goby", 6), happened="2026-10-02").takes
    assert _kinds() == ["expired"]
    move_take(
        take=take, to=second, why="valid on the day", by=house.officer, now=house.now, zone=house.zone,
        approved_by="The curator",
    )  # fmt: skip
    now = Take.objects.get(replaced_by=None)
    assert [row.permit.number for row in trail_of(now)] == ["TEST 1", "TEST 2"]
    standing = Event.objects.filter(kind="taken", reversed_by=None).get()
    assert (standing.permit_number, standing.approved_by and standing.approved_by.name) == (
        "TEST 2",
        "The curator",
    )
    assert Lot.objects.get().held == 6
    assert _kinds() == []
    assert _used(house, GOBY)[3] == 0
    assert account(second, as_of=DAY, zone=house.zone).lines[0].used.kept == 6


def test_what_was_known_before_the_move_can_still_be_asked(house: PermitHouse) -> None:
    second = _second_permit(house)
    before = house.now - timedelta(days=2)
    (take,) = house.record(a_take("two-spotted goby", 6), happened="2026-10-02", at=before).takes
    move_take(take=take, to=second, why="wrong permit", by=house.officer, now=house.now, zone=house.zone)
    then = account(house.permit, as_of=DAY, zone=house.zone, known_at=before)
    assert then.lines[0].used.kept == 6


def test_an_individual_that_has_moved_on_is_booked_to_another_permit_all_the_same(house: PermitHouse) -> None:
    second = _second_permit(house)
    (take,) = house.record(a_take("Homarus gammarus", 1, individual=True), happened="2026-10-02").takes
    assert take.lot
    factories.make_event("moved", lot=take.lot, place="Q2", to_place="E02", happened="2026-10-03")
    move_take(take=take, to=second, why="wrong permit", by=house.officer, now=house.now, zone=house.zone)
    now = Take.objects.get(replaced_by=None)
    assert now.permit == second
    assert Lot.objects.get().held == 1


def test_a_case_has_a_history_an_owner_and_an_end(house: PermitHouse) -> None:
    (case,) = house.record(a_take("Asterias rubens", 1)).cases
    curator = house.people[next(role for role in house.people if role.value == "curator")]
    note_case(case=case, words="the Board was asked", by=house.officer, now=house.now)
    give_case(case=case, owner=curator, by=house.officer, now=house.now)
    close_case(case=case, words="allowed by letter", by=curator, now=house.now)
    case.refresh_from_db()
    assert [note.words for note in case.notes.all()][1:] == [
        "the Board was asked",
        "given to The curator, before The permit officer",
        "allowed by letter",
    ]
    assert (case.owner, case.closed_by) == (curator, curator)
    house.record(a_take("shore crab", 1), happened="2026-09-03")
    assert _kinds() == []


@pytest.mark.parametrize("model", [Trip, Take, PermitLine])
def test_what_was_written_cannot_be_changed_or_removed(house: PermitHouse, model: type) -> None:
    house.record(a_take("shore crab", 1))
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.update(id=0)  # type: ignore[attr-defined]
    with pytest.raises(IntegrityError), transaction.atomic():
        model.objects.all()._raw_delete("default")  # type: ignore[attr-defined]


def test_a_field_name_is_kept_as_written(house: PermitHouse) -> None:
    recorded = house.record(a_take("Two-spotted goby x4", 4, identifier=uuid4()))
    (take,) = recorded.takes
    assert take.taxon
    assert (take.verbatim_identification, take.taxon.scientific_name) == (
        "Two-spotted goby x4",
        "Pomatoschistus flavescens",
    )
    assert recorded.read == [
        "“Two-spotted goby x4” is read as Pomatoschistus flavescens (Chordata): the permit's line "
        "“Two-spotted goby (Gobiusculus flavescens)”"
    ]


def test_a_correction_of_the_name_moves_the_animals_into_a_lot_of_the_right_kind(house: PermitHouse) -> None:
    (take,) = house.record(a_take("shore crab", 2)).takes
    entry = a_take("European lobster", 2, place="")
    correct_take(take=take, entry=entry, why="misread", by=house.officer, now=house.now, zone=house.zone)
    now = Take.objects.get(replaced_by=None)
    assert (now.taxon, now.line_number) == (house.taxa["Homarus gammarus"], LOBSTER)
    assert {lot.taxon.scientific_name: lot.held for lot in Lot.objects.all()} == {
        "Carcinus maenas": 0,
        "Homarus gammarus": 2,
    }
    assert Event.objects.filter(kind="taken", reversed_by=None).get().flows.get().to_cell.account.place == (
        house.quarantine
    )


def test_a_row_that_should_not_be_there_is_taken_out_with_zeros(house: PermitHouse) -> None:
    (take,) = house.record(a_take("Asterias rubens", 2)).takes
    nothing = a_take("Asterias rubens", 0)
    correct_take(
        take=take, entry=nothing, why="of another trip", by=house.officer, now=house.now, zone=house.zone
    )
    assert Lot.objects.get().held == 0
    assert account(house.permit, as_of=DAY, zone=house.zone).lines[-1].used.caught == 0
    assert trail_of(Take.objects.get(replaced_by=None))[0] == take


def test_a_name_that_nobody_has_decided_is_said_to_wait(house: PermitHouse) -> None:
    (case,) = house.record(a_take("gobbyfish", let_go=1)).cases
    assert case.words.startswith("no line of TEST 1 covers 'gobbyfish': the name waits under Check names")
