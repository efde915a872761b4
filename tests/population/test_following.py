"""Who can be followed: cohorts of one day, loans as late entries, pools left out."""

from hypothesis import given
from hypothesis import strategies as st

from census.population.rules.following import LotFlow, arrival_days, follow
from census.population.rules.survival import Life
from inventory.book.rules.ends import CellEnd


def _inside(lot: int, place: int = 1, *, off_site: bool = False) -> CellEnd:
    return CellEnd(lot, 1, "animal", "", place, off_site, "unknown", "present")


def _outside(lot: int, cause: str) -> CellEnd:
    return CellEnd(lot, 1, "animal", "", None, False, "unknown", "present", cause)


ENDS = {
    1: _inside(1),
    2: _inside(1, 2, off_site=True),
    3: _inside(2),
    10: _outside(1, "received"),
    11: _outside(1, "died"),
    12: _outside(1, "sent"),
    13: _outside(2, "received"),
    14: _outside(2, "died"),
    15: _outside(1, "opening"),
}
INSIDE = {key: not end.cause and not end.off_site for key, end in ENDS.items()}


def test_a_cohort_of_one_day_is_followed_to_its_deaths_and_the_others_are_censored() -> None:
    flows = [LotFlow(100, 10, 1, 5), LotFlow(103, 1, 11, 2), LotFlow(104, 1, 12, 1)]
    found = follow(flows, ENDS, INSIDE, first=100, last=109)
    assert found.lives == {
        100: [Life(3.0, True, 0.0, 2), Life(4.0, False, 0.0, 1), Life(10.0, False, 0.0, 2)]
    }
    assert (found.pooled, found.unknown) == (0, 0)


def test_what_comes_back_from_a_loan_enters_late() -> None:
    flows = [LotFlow(100, 10, 1, 1), LotFlow(105, 1, 2, 1), LotFlow(120, 2, 1, 1), LotFlow(130, 1, 11, 1)]
    found = follow(flows, ENDS, INSIDE, first=100, last=140)
    assert found.lives == {100: [Life(5.0, False, 0.0), Life(30.0, True, 20.0)]}


def test_who_came_before_the_first_day_enters_late_and_who_died_before_it_is_not_there() -> None:
    flows = [LotFlow(100, 10, 1, 3), LotFlow(103, 1, 11, 1), LotFlow(112, 1, 11, 1)]
    found = follow(flows, ENDS, INSIDE, first=110, last=119)
    assert found.lives == {100: [Life(12.0, True, 10.0), Life(20.0, False, 10.0)]}


def test_a_death_on_the_day_of_arrival_counts_half_a_day() -> None:
    found = follow([LotFlow(100, 10, 1, 2), LotFlow(100, 1, 11, 2)], ENDS, INSIDE, first=100, last=100)
    assert found.lives == {100: [Life(0.5, True, 0.0, 2)]}


def test_a_death_that_is_dated_by_its_day_alone_counts_though_the_arrival_has_an_hour() -> None:
    """The day begins before the hour, so that the death stands before the arrival in the book."""
    flows = [LotFlow(100, 1, 11, 1), LotFlow(100, 10, 1, 2)]
    found = follow(flows, ENDS, INSIDE, first=100, last=109)
    assert found.lives == {100: [Life(0.5, True, 0.0, 1), Life(10.0, False, 0.0, 1)]}


def test_who_came_back_in_the_afternoon_and_is_written_off_for_the_day_is_not_there_for_ever() -> None:
    flows = [LotFlow(100, 10, 1, 1), LotFlow(105, 1, 2, 1), LotFlow(120, 1, 11, 1), LotFlow(120, 2, 1, 1)]
    found = follow(flows, ENDS, INSIDE, first=100, last=140)
    assert found.lives == {100: [Life(5.0, False, 0.0), Life(20.5, True, 20.0)]}


def test_a_lot_that_took_animals_of_two_days_is_a_pool_and_says_how_many_it_took() -> None:
    flows = [LotFlow(100, 10, 1, 3), LotFlow(105, 10, 1, 4), LotFlow(106, 1, 11, 1)]
    found = follow(flows, ENDS, INSIDE, first=100, last=110)
    assert found.lives == {}
    assert (found.pooled, found.unknown) == (7, 0)


def test_opening_stock_has_no_day_of_arrival() -> None:
    found = follow([LotFlow(100, 15, 1, 3)], ENDS, INSIDE, first=100, last=110)
    assert found.lives == {}
    assert (found.pooled, found.unknown) == (0, 3)


def test_a_lot_that_was_divided_goes_on_with_the_day_of_the_lot_it_came_from() -> None:
    flows = [LotFlow(100, 10, 1, 4), LotFlow(110, 1, 3, 2), LotFlow(115, 3, 14, 1)]
    assert arrival_days(flows, ENDS) == {1: {100}, 2: {100}}
    found = follow(flows, ENDS, INSIDE, first=100, last=119)
    assert found.lives == {100: [Life(15.0, True, 0.0), Life(20.0, False, 0.0, 3)]}


def test_a_lot_that_got_animals_of_another_day_is_a_pool_also_for_those_it_gives_on() -> None:
    flows = [LotFlow(100, 10, 1, 4), LotFlow(101, 13, 3, 4), LotFlow(110, 1, 3, 2)]
    assert arrival_days(flows, ENDS) == {1: {100}, 2: {100, 101}}


@given(
    came=st.integers(1, 30),
    leaves=st.lists(st.tuples(st.integers(0, 40), st.booleans(), st.integers(1, 4)), max_size=12),
    first=st.integers(-5, 30),
)
def test_every_animal_of_a_cohort_has_one_stay_or_was_gone_before(
    came: int, leaves: list[tuple[int, bool, int]], first: int
) -> None:
    flows, there, before = [LotFlow(100, 10, 1, came)], came, 0
    for day, died, n in sorted(leaves):
        taken = min(n, there)
        if taken:
            there -= taken
            before += taken if 100 + day < 100 + first else 0
            flows.append(LotFlow(100 + day, 1, 11 if died else 12, taken))
    found = follow(flows, ENDS, INSIDE, first=100 + first, last=150)
    lives = found.all
    # Who left alive on the first day itself was at risk for no time.
    at_once = sum(flow.n for flow in flows[1:] if flow.to_cell == 12 and flow.day == max(100 + first, 100))
    assert sum(life.number for life in lives) == came - before - at_once
    assert all(life.entry < life.exit for life in lives)
