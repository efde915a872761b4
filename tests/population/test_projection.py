"""Life tables, stage matrices and projections, against textbook examples."""

from math import log

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from census.estimators.rules.estimate import CannotEstimate
from census.population.rules.projection import (
    StageRates,
    growth_rate,
    life_table,
    outlook,
    project,
    stage_matrix,
)
from census.population.rules.staging import StageFlow, stages_seen

# Deevey 1947, Q. Rev. Biol. 22:283, Table 1, Dall sheep, per 1,000 (data and printed values from memory).
SHEEP = (1000, 801, 789, 776, 764, 734, 688, 640, 571, 439, 252, 96, 6, 3)
# Caswell 2001, killer whale (the matrix of the R package popbio; the printed rate from memory).
WHALE = ((0, 0.0043, 0.1132, 0), (0.9775, 0.9111, 0, 0), (0, 0.0736, 0.9534, 0), (0, 0, 0.0452, 0.9804))


def test_the_expectation_of_life_is_deeveys() -> None:
    rows = life_table(SHEEP)
    assert [rows[age].expectation for age in (1, 2, 6)] == pytest.approx([7.7, 6.8, 3.4], abs=0.05)


def test_the_killer_whale_grows_as_caswell_says() -> None:
    found = outlook(WHALE)
    assert found.rate == pytest.approx(1.0254, abs=5e-5)
    assert found.stable == pytest.approx((0.0370, 0.3161, 0.3229, 0.3240), abs=5e-5)


def test_the_loggerhead_declines_as_crouse_says() -> None:
    """Crouse, Crowder and Caswell 1987, Ecology 68:1412 (matrix and answer from memory)."""
    stay = (0, 0.7370, 0.6610, 0.6907, 0, 0, 0.8089)
    grow = (0.6747, 0.0486, 0.0147, 0.0518, 0.8091, 0.8091)
    matrix = np.diag(stay) + np.diag(grow, -1)
    matrix[0, 4:] += (127, 4, 80)
    found = outlook(matrix.tolist())
    assert found.rate == pytest.approx(0.945, abs=5e-4)
    assert log(found.rate) == pytest.approx(-0.0565, abs=5e-4)


def test_the_long_run_is_where_the_matrix_leads_any_start() -> None:
    """A matrix to a high power against its eigenvalue: another road to the same number."""
    a, found = np.array(WHALE), outlook(WHALE)
    now = np.linalg.matrix_power(a, 300) @ np.ones(4)
    after = a @ now
    assert after.sum() / now.sum() == pytest.approx(found.rate, rel=1e-6)
    assert after / after.sum() == pytest.approx(found.stable, abs=1e-6)


SEEN = (StageRates(40, 0, 20), StageRates(30, 20, 6), StageRates(50, 45, 0, young=60))


def test_a_projection_goes_where_its_matrix_goes_and_widens() -> None:
    matrix, start = stage_matrix(SEEN), [30, 25, 40]
    projected = project(SEEN, start, steps=5)
    straight = np.array(start)
    for step in projected:
        straight = matrix @ straight
        assert step.low < step.median < step.high
        assert step.median == pytest.approx(straight.sum(), rel=0.12)
    assert projected[-1].high - projected[-1].low > projected[0].high - projected[0].low
    assert project(SEEN, start, steps=5) == projected


def test_nobody_who_was_never_born_appears() -> None:
    none_young = (StageRates(40, 20, 15), StageRates(50, 45, 0))
    assert project(none_young, [10, 10], steps=3)[-1].high <= 20


@given(st.lists(st.integers(0, 500), min_size=1, max_size=12))
def test_a_life_table_ends_with_everybody_dead(numbers: list[int]) -> None:
    alive = sorted((n + 1 for n in numbers), reverse=True)
    rows = life_table(alive)
    assert rows[-1].chance_of_death == 1
    left = 1.0
    for row in rows:
        assert row.alive == pytest.approx(left)
        left *= 1 - row.chance_of_death


def test_growth_is_per_year_and_says_when_it_is_of_few() -> None:
    found = growth_rate(100, 121, 2)
    assert found.estimate == pytest.approx(1.1)
    assert growth_rate(5, 10, 1).warnings
    with pytest.raises(CannotEstimate, match="zero"):
        growth_rate(0, 10, 1)


@pytest.mark.parametrize(
    ("seen", "why"),
    [
        ([], "no stage"),
        ([StageRates(0, 0, 0)], "Nobody was in stage 1"),
        ([StageRates(3, 3, 1)], "more stayed or grew"),
    ],
)
def test_what_was_never_seen_is_not_projected(seen: list[StageRates], why: str) -> None:
    with pytest.raises(CannotEstimate, match=why):
        project(seen, [1] * len(seen), steps=1)


def test_a_stage_in_which_nobody_was_is_called_by_its_name() -> None:
    with pytest.raises(CannotEstimate, match="Nobody was in the stage “juvenile” when the days began"):
        stage_matrix([StageRates(4, 2, 1), StageRates(0, 0, 0)], ["larva", "juvenile"])


def test_young_of_animals_without_a_stage_are_no_young_of_those_that_are_followed() -> None:
    flows = [
        StageFlow("-", "larva", "born", "", 9),
        StageFlow("-", "", "born", "", 5),
        StageFlow("-", "larva", "born", "", -2),
    ]
    seen = stages_seen({"adult": 4, "": 6}, {"larva": 7, "adult": 4, "": 11}, flows, ("larva", "adult"))
    assert [one.young for one in seen.seen] == [0, 7]
