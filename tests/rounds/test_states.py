"""The ways of censuses and sheets, driven at random against what the procedure allows."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from census.rounds.rules.states import (
    CENSUS_NEXT,
    CENSUS_WAY,
    SHEET_NEXT,
    SHEETS_IN,
    SHEETS_OPEN,
    census_steps,
    line_state,
    may_follow,
)
from census.rounds.rules.words import CensusState, LineState, SheetState, Verdict


@given(st.sampled_from(CensusState), st.sampled_from(CENSUS_WAY))
def test_work_moves_a_census_forward_by_allowed_steps_only(now: CensusState, goal: CensusState) -> None:
    if now in (CensusState.CLOSED, CensusState.ABANDONED):
        with pytest.raises(ValueError, match=now.value):
            census_steps(now, goal)
        return
    state: CensusState = now if now is not CensusState.REOPENED else CensusState.SETTLING
    for step in census_steps(now, goal):
        assert step in CENSUS_NEXT[state]
        state = step
    assert CENSUS_WAY.index(state) >= CENSUS_WAY.index(goal)


class SheetWalk(RuleBasedStateMachine):
    """Any sequence of wishes; only allowed ones are done."""

    def __init__(self) -> None:
        super().__init__()
        self.state = SheetState.NOT_ISSUED
        self.was_issued = False

    @rule(wish=st.sampled_from(SheetState))
    def go(self, wish: SheetState) -> None:
        before = self.state
        if may_follow(before, wish):
            self.state = wish
            self.was_issued |= wish is SheetState.ISSUED
        assert before not in (SheetState.VOID, SheetState.LOST) or self.state is before

    @invariant()
    def a_sheet_is_handed_in_only_after_it_was_issued(self) -> None:
        if self.state in (SheetState.HANDED_IN, SheetState.ACCEPTED, SheetState.RECOUNT_ASKED):
            assert self.was_issued

    @invariant()
    def a_sheet_is_either_waited_for_or_in(self) -> None:
        waited = self.state in SHEETS_OPEN or self.state is SheetState.NOT_ISSUED
        assert waited != (self.state in SHEETS_IN)


TestSheetWalk = SheetWalk.TestCase


def test_every_state_has_its_followers_and_no_sheet_is_ever_unissued() -> None:
    assert set(CENSUS_NEXT) == set(CensusState)
    assert set(SHEET_NEXT) == set(SheetState)
    assert all(SheetState.NOT_ISSUED not in followers for followers in SHEET_NEXT.values())


@given(st.none() | st.sampled_from(Verdict), st.booleans(), st.booleans(), st.booleans(), st.booleans())
def test_a_line_is_settled_exactly_while_its_decision_holds(
    verdict: Verdict | None, counted: bool, waiting: bool, confirmed: bool, holds: bool
) -> None:
    state = line_state(
        verdict=verdict,
        counted=counted,
        recount_waiting=waiting,
        confirmed=confirmed,
        decision_holds=holds,
    )
    assert (state is LineState.SETTLED) == holds
    if state in (LineState.AGREES, LineState.INSIDE, LineState.OUTSIDE, LineState.CONFIRMED):
        assert counted
        assert not waiting
