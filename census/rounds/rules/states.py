"""Which state may follow which, and the state that a line is in."""

from .words import CensusState as C
from .words import LineState, Verdict
from .words import SheetState as S

CENSUS_NEXT: dict[C, frozenset[C]] = {
    C.PLANNED: frozenset({C.ISSUED, C.ABANDONED}),
    C.ISSUED: frozenset({C.COUNTING, C.ABANDONED}),
    C.COUNTING: frozenset({C.COMPARING, C.ABANDONED}),
    C.COMPARING: frozenset({C.SETTLING, C.ABANDONED}),
    C.SETTLING: frozenset({C.WAITING, C.ABANDONED}),
    C.WAITING: frozenset({C.CLOSED, C.SETTLING, C.ABANDONED}),
    C.CLOSED: frozenset({C.REOPENED}),
    C.REOPENED: frozenset({C.WAITING}),
    C.ABANDONED: frozenset(),
}
# Nothing more is done about these, unless the curator opens a closed one again.
CENSUS_DONE = (C.CLOSED, C.ABANDONED)
# The way that a census goes when its work moves on.
CENSUS_WAY = (C.PLANNED, C.ISSUED, C.COUNTING, C.COMPARING, C.SETTLING, C.WAITING, C.CLOSED)

SHEET_NEXT: dict[S, frozenset[S]] = {
    S.NOT_ISSUED: frozenset({S.ISSUED, S.VOID}),
    S.ISSUED: frozenset({S.STARTED, S.HANDED_IN, S.VOID, S.LOST}),
    S.STARTED: frozenset({S.HANDED_IN, S.VOID, S.LOST}),
    S.HANDED_IN: frozenset({S.ACCEPTED, S.RECOUNT_ASKED, S.VOID}),
    S.RECOUNT_ASKED: frozenset({S.HANDED_IN, S.VOID, S.LOST}),
    S.ACCEPTED: frozenset({S.RECOUNT_ASKED}),
    S.VOID: frozenset(),
    S.LOST: frozenset(),
}
# Sheets that no longer keep anybody waiting.
SHEETS_IN = frozenset({S.HANDED_IN, S.ACCEPTED, S.VOID, S.LOST})
# Sheets on which counts are written.
SHEETS_OPEN = frozenset({S.ISSUED, S.STARTED, S.RECOUNT_ASKED})
# Sheets whose place is counted by the sheet that replaces them.
SHEETS_REPLACED = frozenset({S.VOID, S.LOST})


def census_steps(now: C, goal: C) -> tuple[C, ...]:
    """The states to pass from ``now`` to ``goal``, ``goal`` included; () when already there or beyond.

    Work moves a census only forward; raises :class:`ValueError` when the census is over.
    """
    if now in (C.ABANDONED, C.CLOSED):
        raise ValueError(f"the census is {now.value}")
    if now is C.REOPENED:
        return (
            (C.WAITING, C.CLOSED)[: (C.WAITING, C.CLOSED).index(goal) + 1]
            if goal in (C.WAITING, C.CLOSED)
            else ()
        )
    here, there = CENSUS_WAY.index(now), CENSUS_WAY.index(goal)
    return CENSUS_WAY[here + 1 : there + 1]


def may_follow(now: S, then: S) -> bool:
    """True when a sheet in state ``now`` may become ``then``."""
    return then in SHEET_NEXT[now]


def line_state(
    *, verdict: Verdict | None, counted: bool, recount_waiting: bool, confirmed: bool, decision_holds: bool
) -> LineState:
    """The state of a line, worked out from what is known about it; ``verdict`` None: not compared."""
    if decision_holds:
        return LineState.SETTLED
    if recount_waiting:
        return LineState.RECOUNT
    if not counted:
        return LineState.NOT_COUNTED
    if confirmed and verdict in (Verdict.INSIDE, Verdict.OUTSIDE, Verdict.MINIMUM):
        return LineState.CONFIRMED
    return _BY_VERDICT[verdict]


_BY_VERDICT: dict[Verdict | None, LineState] = {
    None: LineState.COUNTED,
    Verdict.EXACT: LineState.AGREES,
    Verdict.INSIDE: LineState.INSIDE,
    Verdict.OUTSIDE: LineState.OUTSIDE,
    Verdict.MINIMUM: LineState.OUTSIDE,
    Verdict.NOT_COUNTED: LineState.NOT_COUNTED,
}
