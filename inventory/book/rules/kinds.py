"""The kinds of event, and which way each moves animals. The only list of them."""

from enum import StrEnum


class EventKind(StrEnum):
    """Every event is one of these."""

    OPENING = "opening"
    TAKEN = "taken"
    RECEIVED = "received"
    LOAN_IN = "loan_in"
    BACK_FROM_LOAN = "back_from_loan"
    BORN = "born"
    DIVIDED = "divided"
    SETTLED = "settled"
    FOUND = "found"
    DIED = "died"
    PUT_DOWN = "put_down"
    RELEASED = "released"
    SENT = "sent"
    LOAN_OUT = "loan_out"
    GIVEN_BACK = "given_back"
    UNACCOUNTED = "unaccounted"
    MOVED = "moved"
    MISSING = "missing"
    SEEN_AGAIN = "seen_again"
    REGROUPED = "regrouped"
    REVERSED = "reversed"


# From outside into a place of ours.
ARRIVALS = (
    EventKind.OPENING,
    EventKind.TAKEN,
    EventKind.RECEIVED,
    EventKind.LOAN_IN,
    EventKind.BORN,
    EventKind.DIVIDED,
    EventKind.SETTLED,
    EventKind.FOUND,
)
# From a place of ours to outside, for good.
DEPARTURES = (
    EventKind.DIED,
    EventKind.PUT_DOWN,
    EventKind.RELEASED,
    EventKind.SENT,
    EventKind.GIVEN_BACK,
    EventKind.UNACCOUNTED,
)
# From one cell of ours to another; loans go to and come from a place held by others.
INSIDE = (
    EventKind.MOVED,
    EventKind.LOAN_OUT,
    EventKind.BACK_FROM_LOAN,
    EventKind.MISSING,
    EventKind.SEEN_AGAIN,
    EventKind.REGROUPED,
)

# One outside account for each way across the house's wall. A reversal runs the same way
# backwards, so the account alone says which column of the population change a flow belongs to.
OUTSIDE_CAUSES: tuple[str, ...] = tuple(kind.value for kind in (*ARRIVALS, *DEPARTURES))
