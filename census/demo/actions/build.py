"""Builds the demo house in an empty, migrated database."""

from collections.abc import Callable
from datetime import datetime, tzinfo

from django.db import transaction

from inventory.names.actions.lists import load_lists

from ..rules.fixtures import FIXTURES, read_quarters
from ..rules.history import History, make_history
from .devices import set_codes
from .earlier_counts import copy_earlier_counts
from .half_counted import count_half
from .keepers import make_keepers
from .ledger import make_periods, post_history
from .names import decide_names
from .people import SignIn, make_people
from .permits import load_permits
from .releases import load_first_release
from .returns import make_returns
from .stock import load_opening_stock
from .vet_notes import write_vet_notes
from .water import make_water

LISTS = FIXTURES.parent / "lists"
# (what was done, steps done, steps in all)
Progress = Callable[[str, int, int], None]


def _quiet(what: str, done: int, of: int) -> None:
    """Progress for nobody."""


@transaction.atomic
def build_house(*, now: datetime, zone: tzinfo, progress: Progress = _quiet) -> tuple[History, list[SignIn]]:
    """Two years of events and a census that is half counted; ``now`` is the demo's own present."""
    quarters = read_quarters()
    closings = sum(bool(quarter.closed_at) + bool(quarter.reclosed_at) for quarter in quarters)
    steps, done = closings + 10, 0

    def tell(what: str) -> None:
        nonlocal done
        done += 1
        progress(what, done, steps)

    history = make_history()
    tell("two years of events generated")
    sign_ins = make_people(zone=zone)
    first_day = datetime.fromisoformat(history.opening[0].entered).replace(tzinfo=zone)
    set_codes(now=first_day)
    load_first_release(now=first_day)
    load_lists(LISTS, now=first_day)
    tell("people, backbone and lists")
    first, second = load_opening_stock(history, now=first_day, zone=zone)
    make_keepers(first_day=first_day.date())
    tell(
        f"opening stock: {first.sheets['lots'].new} lots, {first.sheets['events'].new} lines, "
        f"{first.names_to_review} names to review; loaded again: {second.sheets['events'].new} new"
    )
    decided = decide_names(zone=zone)
    tell(f"{decided} names decided, the others wait in the queue")
    make_periods()
    events = post_history(
        history, now=now, zone=zone, progress=lambda what: tell(f"events posted up to {what}")
    )
    tell(f"{events:,} events in all")
    sheets = load_permits(history, now=now, zone=zone).sheets
    tell(f"{sheets['permits'].new} permits, {sheets['takes'].new} takes, {sheets['loans'].new} loans")
    make_returns(now=now, zone=zone)
    write_vet_notes(history.accessions, zone=zone)
    make_water(now=now, zone=zone)
    tell(f"{copy_earlier_counts(history, zone=zone)} counts of earlier quarters typed in")
    count_half(history, now=now, zone=zone)
    tell("census half counted")
    return history, sign_ins
