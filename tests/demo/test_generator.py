"""The demo house's two years, as plain figures, against the tables in ``fixtures/demo``."""

from collections import Counter
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from census.demo.rules import fixtures
from census.demo.rules.background import bounds
from census.demo.rules.effects import (
    IN_KINDS,
    OUT_KINDS,
    Effect,
    between,
    effective,
    effects_of,
    net_by_line,
)
from census.demo.rules.fixtures import ANIMAL, CensusRow, Quarter
from census.demo.rules.history import History, make_history
from inventory.book.rules.accession import is_valid
from inventory.book.rules.kinds import EventKind

QUARTERS = fixtures.read_quarters()
CLOSED = [quarter for quarter in QUARTERS if quarter.closed_at]
CENSUS = [row for row in fixtures.read_census() if not row.written_in and row.book_at_count is not None]


@pytest.fixture(scope="module")
def history() -> History:
    return make_history()


@pytest.fixture(scope="module")
def effects(history: History) -> list[Effect]:
    return effects_of(history.rows)


def _unit(history: History, unit: str) -> set[str]:
    return {lot.lot for lot in history.lots if lot.unit == unit}


def _sum(effects: list[Effect], lots: set[str], kinds: frozenset[str]) -> int:
    return sum(effect.n for effect in effects if effect.lot in lots and effect.kind in kinds)


@pytest.mark.parametrize("quarter", CLOSED, ids=lambda quarter: quarter.code)
def test_each_closed_quarter_has_the_totals_of_the_table(
    quarter: Quarter, history: History, effects: list[Effect]
) -> None:
    animals = _unit(history, ANIMAL)
    inside = between(effects, *bounds(quarter))
    before = [effect for effect in effects if effect.at < bounds(quarter)[1]]
    assert _sum(inside, animals, IN_KINDS) == quarter.in_
    assert -_sum(inside, animals, OUT_KINDS) == quarter.all_out
    assert _sum(inside, animals, frozenset({EventKind.FOUND})) == quarter.found
    assert -_sum(inside, animals, frozenset({EventKind.UNACCOUNTED})) == quarter.unaccounted
    assert sum(effect.n for effect in before if effect.lot in animals) == quarter.newest_closing


@pytest.mark.parametrize("quarter", CLOSED, ids=lambda quarter: quarter.code)
def test_what_was_known_at_the_first_closing_is_its_first_version(
    quarter: Quarter, history: History, effects: list[Effect]
) -> None:
    animals = _unit(history, ANIMAL)
    assert quarter.closed_at
    known = [
        effect for effect in effects if effect.at < bounds(quarter)[1] and effect.entered <= quarter.closed_at
    ]
    assert sum(effect.n for effect in known if effect.lot in animals) == quarter.closing


def test_the_quarters_join_without_a_gap(history: History) -> None:
    assert (
        sum(row.total for row in history.opening if row.lot in _unit(history, ANIMAL)) == QUARTERS[0].opening
    )
    for earlier, later in pairwise(QUARTERS):
        assert later.opening == earlier.newest_closing
        assert later.starts == earlier.ends + timedelta(days=1)


@pytest.mark.parametrize("quarter", CLOSED, ids=lambda quarter: quarter.code)
def test_colonies_stand_at_the_same_number_at_each_closing(
    quarter: Quarter, history: History, effects: list[Effect]
) -> None:
    expected = sum(row.opening for row in CENSUS if row.unit == "colony")
    colonies = _unit(history, "colony")
    held = sum(effect.n for effect in effects if effect.lot in colonies and effect.at < bounds(quarter)[1])
    assert held == expected


def _at(effects: list[Effect], row: CensusRow, before: datetime) -> int:
    net = net_by_line(effect for effect in effects if effect.at < before)
    return sum(net.get((lot, row.place), 0) for lot in row.lots)


@pytest.mark.parametrize("row", CENSUS, ids=lambda row: row.line)
def test_each_census_row_has_its_opening_its_flows_and_its_book(
    row: CensusRow, effects: list[Effect]
) -> None:
    running = QUARTERS[-1]
    start, end = bounds(running)
    until = (row.counted_at or end) if row.counted_at is None or row.counted_at < end else end
    assert _at(effects, row, start) == row.opening
    assert _at(effects, row, until) == row.book_at_count
    assert _at(effects, row, end) == row.book_at_end
    flows: Counter[str] = Counter()
    for effect in between(effects, start, until):
        if effect.lot in row.lots and effect.place == row.place:
            flows[effect.kind] += effect.n
    expected = {
        EventKind.TAKEN: row.taken,
        EventKind.BORN: row.born,
        EventKind.MOVED: row.moved_in,
        EventKind.DIED: -row.died,
        EventKind.UNACCOUNTED: row.edited,
    }
    assert {kind: n for kind, n in flows.items() if n} == {k.value: n for k, n in expected.items() if n}


def test_animals_by_sex_are_those_of_the_census(history: History, effects: list[Effect]) -> None:
    for row in CENSUS:
        if row.mfu is None:
            continue
        held: Counter[str] = Counter()
        for effect in effects:
            if effect.lot in row.lots and effect.place == row.place:
                held[effect.sex] += effect.n
        assert (held["male"], held["female"], held["unknown"]) == row.mfu, row.line


def test_no_balance_falls_below_zero_before_the_running_quarter(effects: list[Effect]) -> None:
    held: Counter[tuple[str, str]] = Counter()
    below = set()
    # At one moment what comes in is booked before what goes out.
    for effect in sorted(effects, key=lambda effect: (effect.at, -effect.n)):
        held[effect.lot, effect.place] += effect.n
        if held[effect.lot, effect.place] < 0:
            below.add((effect.lot, effect.place))
            assert effect.at.date() >= QUARTERS[-1].starts
    expected = {(row.lots[0], row.place) for row in CENSUS if (row.book_at_end or 0) < 0}
    assert below == expected


def test_an_individual_is_one_animal_in_one_place(history: History, effects: list[Effect]) -> None:
    individuals = {lot.lot for lot in history.lots if lot.kind == "individual"}
    held: Counter[str] = Counter()
    for effect in sorted(effects, key=lambda effect: (effect.at.date(), effect.entered)):
        if effect.lot in individuals:
            held[effect.lot] += effect.n
    assert set(held.values()) <= {0, 1}


def test_nothing_is_entered_before_it_happened(history: History) -> None:
    for row in history.rows:
        assert effective(row.happened) <= datetime.fromisoformat(row.entered), row.ref


def test_the_opening_load_has_the_lines_that_were_loaded(history: History) -> None:
    presence_only = sum(lot.unit == fixtures.PRESENCE for lot in history.lots)
    assert len(history.opening) + presence_only == fixtures.read_background().opening_lines


def test_people_slip_as_often_as_the_fixtures_say(history: History) -> None:
    """Judged over the background deaths of the closed quarters, the entries that the generator makes."""
    background = fixtures.read_background()
    codes = tuple(quarter.code for quarter in CLOSED)
    made = [row for row in history.events if row.kind == EventKind.DIED and row.ref.startswith(codes)]
    doubled = [row for row in made if row.ref.endswith("-again")]
    mistyped = [row for row in made if row.ref.endswith("-mistyped")]
    late = [
        row
        for row in made
        if datetime.fromisoformat(row.entered) - effective(row.happened) > timedelta(days=3)
    ]
    assert len(made) / len(doubled) == pytest.approx(background.entries_to_a_double, rel=0.3)
    assert len(made) / len(mistyped) == pytest.approx(background.entries_to_a_correction, rel=0.3)
    assert len(late) / len(made) * 100 == pytest.approx(background.per_cent_late, abs=2)


def test_what_was_entered_twice_or_wrong_is_taken_back_with_approval(history: History) -> None:
    slips = {row.ref for row in history.events if row.ref.endswith(("-again", "-mistyped"))}
    undone = {row.reverses: row for row in history.events if row.kind == EventKind.REVERSED}
    # One double still stands: the census is to find it.
    assert slips - undone.keys() == {"2026-09-12/sand-smelt-again"}
    assert all(row.approved_by or row.reason == "cause of death found" for row in undone.values())


def test_accession_numbers_are_unique_and_carry_their_check_digit(history: History) -> None:
    numbers = list(history.accessions.values())
    assert len(set(numbers)) == len(numbers) == len(history.lots)
    assert all(is_valid(number) for number in numbers)


def test_the_same_seed_makes_the_same_house() -> None:
    assert make_history().rows == make_history().rows
    assert make_history(seed=7).rows != make_history().rows


def test_every_name_of_the_history_is_a_person_a_place_or_a_lot_of_the_house(history: History) -> None:
    people = {row["name"] for row in fixtures.read_rows("people.csv")}
    places = {row["code"] for row in fixtures.read_rows("places.csv")}
    lots = {lot.lot for lot in history.lots}
    for row in history.rows:
        assert row.entered_by in people
        assert row.approved_by in people | {""}
        assert {row.place, row.to_place} <= places | {""}
        assert {row.lot, row.to_lot} <= lots | {""}
