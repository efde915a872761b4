"""Where a method cannot work it refuses with a reason; where it is weak it warns."""

from collections.abc import Callable

import pytest

from census.estimators.rules.carle_strub import carle_strub
from census.estimators.rules.counts import full, passes
from census.estimators.rules.estimate import CannotEstimate, Estimate
from census.estimators.rules.marked import chapman, petersen
from census.estimators.rules.observers import two_observers, two_observers_swapped
from census.estimators.rules.proportions import clopper_pearson, wilson
from census.estimators.rules.rates import poisson
from census.estimators.rules.ratio import ratio
from census.estimators.rules.removal import RemovalForm, removal, two_pass
from census.estimators.rules.sampling import squares, strata
from census.estimators.rules.schnabel import SchnabelForm, schnabel

REFUSED: list[tuple[str, Callable[[], Estimate], str]] = [
    ("a count below zero", lambda: full(-1), "below zero"),
    ("one pass", lambda: passes([12]), "full count"),
    ("observers who share no animal", lambda: two_observers(12, 9, 0), "No animal was seen by both"),
    ("more seen by both than by one", lambda: two_observers(5, 9, 6), "Both cannot have seen more"),
    ("one who always leads", lambda: two_observers_swapped(60, 10), "did not swap roles"),
    ("the other who always leads", lambda: two_observers_swapped(0, 0, 55, 12), "did not swap roles"),
    ("a second look that adds as much", lambda: two_observers_swapped(10, 10, 10, 10), "Count again"),
    ("no mark seen again, Petersen", lambda: petersen(40, 30, 0), "No marked animal"),
    ("no mark seen again, Chapman", lambda: chapman(40, 30, 0), "No marked animal"),
    ("more marks than animals caught", lambda: chapman(40, 5, 6), "than were caught"),
    ("more marks than were made", lambda: chapman(5, 40, 6), "than had been marked"),
    ("no mark in any catch", lambda: schnabel([9, 9], [0, 0]), "No marked animal"),
    ("marks before there were any", lambda: schnabel([9, 9], [1, 2]), "Catch 1 has 1 marked"),
    ("lists of two lengths", lambda: schnabel([9, 9], [0]), "one number a catch"),
    ("more returned than caught", lambda: schnabel([9, 9], [0, 1], [10, 9]), "more animals were returned"),
    (
        "a fit to two catches",
        lambda: schnabel([9, 9], [0, 1], None, SchnabelForm.SCHUMACHER),
        "three catches",
    ),
    ("two catches that do not fall", lambda: two_pass([28, 28]), "do not fall"),
    ("two catches that rise", lambda: removal([28, 79]), "do not fall"),
    ("catches that rise", lambda: removal([5, 7, 8]), "do not fall"),
    ("catches that rise, conditional", lambda: removal([5, 7, 8], RemovalForm.CONDITIONAL), "do not fall"),
    ("no catch", lambda: removal([0, 0, 0]), "Nothing was caught"),
    ("one pass of removal", lambda: carle_strub([8]), "at least two"),
    ("one square", lambda: squares([4], 20), "no spread"),
    ("more squares counted than there are", lambda: squares([4, 5, 6], 2), "has only 2"),
    ("strata without totals", lambda: strata([[4, 5], [1, 2]], [9]), "total squares of 1"),
    ("portions heavier than the whole", lambda: ratio([4, 5], [10, 11], 20), "cannot weigh less"),
    ("portions without weight", lambda: ratio([4, 5], [0, 0], 20), "weigh nothing"),
    ("a share of nothing", lambda: wilson(0, 0), "no animals"),
    ("more cases than animals", lambda: clopper_pearson(4, 3), "cannot be 4 cases among 3"),
    ("no exposure", lambda: poisson(3, 0), "exposure"),
]
WARNED: list[tuple[str, Callable[[], Estimate], str]] = [
    ("two passes only", lambda: passes([40, 41]), "2 passes only"),
    ("passes far apart", lambda: passes([40, 41, 55]), "until the number is steady"),
    ("two observers, always", lambda: two_observers(31, 28, 25), "animals that hide"),
    ("swapped observers, always", lambda: two_observers_swapped(60, 10, 55, 12), "animals that hide"),
    ("an observer who adds nothing", lambda: two_observers(31, 25, 25), "saw nothing that the other"),
    (
        "an observer who adds nothing to the leader",
        lambda: two_observers_swapped(60, 0, 55, 12),
        "added nothing",
    ),
    ("few recaptures", lambda: chapman(40, 30, 6), "Only 6 marked seen again"),
    ("few recaptures in several catches", lambda: schnabel([20, 20, 20], [0, 2, 2]), "Only 4 marked"),
    ("an error above 30 %", lambda: chapman(500, 149, 7), "more than 30 %"),
    ("an error above 30 % of a removal", lambda: removal([79, 60]), "more than 30 %"),
    ("two catches that fall too little", lambda: removal([30, 20]), "make a third"),
    ("an estimate below what was seen", lambda: schnabel([10, 10], [0, 10]), "fewer than the 10"),
    ("no upper limit, Petersen", lambda: petersen(50, 30, 1), "no upper limit"),
    ("no upper limit, removal", lambda: removal([12, 11, 10]), "no upper limit"),
    ("a chance of capture that changed", lambda: removal([45, 11, 18, 8]), "do not fit one chance"),
    ("catches that rise, Carle-Strub", lambda: carle_strub([5, 7, 8]), "do not fall"),
    ("an upper limit far off, Carle-Strub", lambda: carle_strub([8, 23, 17, 8, 6]), "is far off"),
    ("no upper limit, swapped observers", lambda: two_observers_swapped(10, 99, 10, 1), "no upper limit"),
    ("few squares", lambda: squares([3, 4], 20), "2 squares only"),
    ("squares all alike", lambda: squares([3, 3, 3, 3, 3], 20), "same count"),
    ("few portions", lambda: ratio([20, 21], [10, 10], 200), "2 portions only"),
    ("portions of unlike weight", lambda: ratio([20, 90, 31, 8, 12], [10, 45, 15, 4, 6], 200), "differ much"),
    ("no case", lambda: wilson(0, 20), "None seen"),
    ("every case", lambda: clopper_pearson(20, 20), "All seen"),
    ("no event", lambda: poisson(0, 1200), "None seen"),
]
QUIET: list[tuple[str, Callable[[], Estimate]]] = [
    ("a full count", lambda: full(37)),
    ("passes that agree", lambda: passes([61, 58, 60])),
    ("seven recaptures of few", lambda: chapman(12, 9, 7)),
    ("catches that fall well", lambda: removal([53, 22, 14, 4])),
    ("two catches that fall well", lambda: removal([79, 28])),
    ("ten squares", lambda: squares([3, 0, 5, 2, 4, 1, 2, 6, 0, 3], 80)),
    ("five like portions", lambda: ratio([212, 198, 205, 221, 209], [50, 48, 50, 51, 50], 1840)),
    ("some cases", lambda: wilson(81, 263)),
    ("every square counted", lambda: squares([3, 3], 2)),
]


@pytest.mark.parametrize(("ask", "reason"), [row[1:] for row in REFUSED], ids=[row[0] for row in REFUSED])
def test_it_refuses_with_the_reason(ask: Callable[[], Estimate], reason: str) -> None:
    with pytest.raises(CannotEstimate, match=reason):
        ask()


@pytest.mark.parametrize(("ask", "words"), [row[1:] for row in WARNED], ids=[row[0] for row in WARNED])
def test_it_answers_with_a_warning(ask: Callable[[], Estimate], words: str) -> None:
    assert any(words in warning for warning in ask().warnings)


@pytest.mark.parametrize("ask", [row[1] for row in QUIET], ids=[row[0] for row in QUIET])
def test_good_data_bring_no_warning(ask: Callable[[], Estimate]) -> None:
    assert ask().warnings == ()


def test_passes_give_their_middle_and_their_range() -> None:
    """Four passes: the middle lies between the two in the middle."""
    odd, even = passes([61, 58, 64]), passes([61, 58, 64, 60])
    assert (odd.estimate, odd.low, odd.high) == (61, 58, 64)
    assert even.estimate == 60.5
    assert "75 %" in odd.method


def test_what_formula_falls_below_what_was_seen_gives_what_was_seen() -> None:
    found = schnabel([10, 10], [0, 10])
    assert (found.estimate, found.low) == (10, 10)


def test_two_observers_who_see_the_same_may_still_have_missed_some() -> None:
    found = two_observers(25, 25, 25)
    assert (found.estimate, found.low) == (25, 25)
    assert found.high is not None
    assert 25 < found.high < 28


def test_carle_strub_answers_where_the_likelihood_refuses() -> None:
    assert carle_strub([5, 7, 8]).estimate == 44
    with pytest.raises(CannotEstimate):
        removal([5, 7, 8])
