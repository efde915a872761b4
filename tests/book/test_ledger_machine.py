"""The ledger against a plain-Python model: random events, backdated, reversed, split, joined, regrouped.

The model keeps a list of changes, each with its day and the order of its entry, and adds them up.
Whatever day and whatever moment of knowledge is asked, the ledger must answer the same.
"""

from collections import Counter
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import transaction
from django.utils import timezone
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from hypothesis.stateful import run_state_machine_as_test as run_machine

from inventory.book.actions.post import LedgerRefused, post_event
from inventory.book.models import Cell, Lot, LotKind
from inventory.book.queries.quantities import cell_balances, cell_facts
from inventory.book.queries.verification import verify
from inventory.book.rules.happened import end_of_day
from inventory.book.rules.kinds import ARRIVALS, DEPARTURES, EventKind
from tests.factories import NOW, make_draft, make_lot, make_person, make_place

FIRST_DAY = date(2026, 1, 1)
PLACES = ("T1", "T2", "T3")
GROUPS = ("G1", "G2")
SINGLES = ("I1", "I2")
SEXES = ("male", "female", "hermaphrodite", "unknown")

# (lot, place, sex, standing); everything outside is left out of the model.
Box = tuple[str, str, str, str]

days = st.integers(0, 200)
sexes = st.sampled_from(SEXES)
# What a departure of "not stated" takes is proved in test_ledger.py.
stated_sexes = st.sampled_from(SEXES[:3])
groups = st.sampled_from(GROUPS)
singles = st.sampled_from(SINGLES)
places = st.sampled_from(PLACES)
numbers = st.integers(1, 12)


@dataclass
class Change:
    """What one event did to the model's boxes."""

    identifier: Any
    day: int
    entered: int
    boxes: Counter[Box] = field(default_factory=Counter)
    reversed: bool = False


def numbers_of(sex: str, n: int) -> dict[str, int]:
    names = dict(zip(SEXES, ("males", "females", "hermaphrodites", "unknown"), strict=True))
    return {"unknown": 0, names[sex]: n}


class LedgerMachine(RuleBasedStateMachine):
    """Every rule posts one event to both; the invariants compare."""

    @initialize()
    def open_the_book(self) -> None:
        self.transaction = transaction.atomic()
        self.transaction.__enter__()
        self.zone = timezone.get_current_timezone()
        self.person = make_person()
        for code in PLACES:
            make_place(code)
        for accession in GROUPS:
            make_lot(accession)
        for accession in SINGLES:
            make_lot(accession, kind=LotKind.INDIVIDUAL)
        self.changes: list[Change] = []

    def teardown(self) -> None:
        if hasattr(self, "transaction"):
            assert verify(self.zone).findings == []
            transaction.set_rollback(True)
            self.transaction.__exit__(None, None, None)

    # --- the model ---

    def boxes(self, day: int | None = None, known: int | None = None) -> Counter[Box]:
        total: Counter[Box] = Counter()
        for change in self.changes:
            if (day is None or change.day <= day) and (known is None or change.entered <= known):
                for box, n in change.boxes.items():
                    total[box] += n
        return total

    def take(self, lot: str, place: str, sex: str, n: int, order: tuple[str, ...]) -> Counter[Box]:
        """The documented rule: what is stated, first in one standing, then the other, then below zero."""
        boxes, taken = self.boxes(), Counter[Box]()
        for standing in order:
            k = min(n, max(0, boxes[lot, place, sex, standing]))
            taken[lot, place, sex, standing] -= k
            n -= k
        taken[lot, place, sex, "present"] -= n
        return taken

    # --- posting to both ---

    def moment(self, entered: int) -> datetime:
        return NOW + timedelta(minutes=entered)

    def post(self, kind: str, day: int, boxes: Counter[Box], **stated: Any) -> None:
        entered = len(self.changes) + 1
        identifier = uuid4()
        draft = make_draft(
            kind,
            identifier=identifier,
            happened=str(FIRST_DAY + timedelta(days=day)),
            entered_by=self.person,
            **stated,
        )
        post_event(draft, now=self.moment(entered), zone=self.zone)
        self.changes.append(Change(identifier, day, entered, boxes))

    @rule(kind=st.sampled_from(ARRIVALS), lot=groups, place=places, sex=sexes, n=numbers, day=days)
    def arrive(self, *, kind: str, lot: str, place: str, sex: str, n: int, day: int) -> None:
        boxes = Counter({(lot, place, sex, "present"): n})
        self.post(kind, day, boxes, lot=lot, place=place, **numbers_of(sex, n))

    @rule(kind=st.sampled_from(DEPARTURES), lot=groups, place=places, sex=stated_sexes, n=numbers, day=days)
    def depart(self, *, kind: str, lot: str, place: str, sex: str, n: int, day: int) -> None:
        order = ("missing", "present") if kind == EventKind.UNACCOUNTED else ("present", "missing")
        boxes = self.take(lot, place, sex, n, order)
        self.post(kind, day, boxes, lot=lot, place=place, **numbers_of(sex, n))

    @rule(lot=groups, place=places, to_place=places, sex=stated_sexes, n=numbers, day=days)
    def move(self, *, lot: str, place: str, to_place: str, sex: str, n: int, day: int) -> None:
        ever_held = any(box[:2] == (lot, place) for change in self.changes for box in change.boxes)
        if place == to_place or not ever_held:
            return
        boxes = self.take(lot, place, sex, n, ("present", "missing"))
        boxes[lot, to_place, sex, "present"] += n
        self.post("moved", day, boxes, lot=lot, place=place, to_place=to_place, **numbers_of(sex, n))

    @rule(lot=groups, place=places, sex=stated_sexes, n=numbers, day=days)
    def go_missing(self, *, lot: str, place: str, sex: str, n: int, day: int) -> None:
        boxes = Counter({(lot, place, sex, "present"): -n, (lot, place, sex, "missing"): n})
        self.post("missing", day, boxes, lot=lot, place=place, **numbers_of(sex, n))

    @rule(lot=groups, place=places, sex=stated_sexes, day=days)
    def see_again(self, *, lot: str, place: str, sex: str, day: int) -> None:
        n = self.boxes()[lot, place, sex, "missing"]
        if n > 0:
            boxes = Counter({(lot, place, sex, "missing"): -n, (lot, place, sex, "present"): n})
            self.post("seen_again", day, boxes, lot=lot, place=place, **numbers_of(sex, n))

    @rule(lot=groups, to_lot=groups, place=places, sex=stated_sexes, to_sex=sexes, n=numbers, day=days)
    def regroup(self, *, lot: str, to_lot: str, place: str, sex: str, to_sex: str, n: int, day: int) -> None:
        if (lot, sex) == (to_lot, to_sex):
            return
        taken = self.take(lot, place, sex, n, ("present", "missing"))
        boxes = Counter(taken)
        for (_, _, _, standing), k in taken.items():
            boxes[to_lot, place, to_sex, standing] -= k
        self.post(
            "regrouped",
            day,
            boxes,
            lot=lot,
            to_lot=to_lot,
            place=place,
            to_sex=to_sex,
            **numbers_of(sex, n),
        )

    @rule(single=singles, lot=groups, place=places, day=days)
    def split_off(self, *, single: str, lot: str, place: str, day: int) -> None:
        """One animal of a group gets a life story of its own, unless it has one."""
        taken = self.take(lot, place, "female", 1, ("present", "missing"))
        (standing,) = (box[3] for box, n in taken.items() if n)
        boxes = Counter(taken)
        boxes[single, place, "female", standing] += 1
        self.try_post(single, "regrouped", day, boxes, lot=lot, to_lot=single, place=place, females=1)

    @rule(single=singles, lot=groups, place=places, day=days)
    def join_back(self, *, single: str, lot: str, place: str, day: int) -> None:
        position = [box for box, n in self.boxes(day=day).items() if box[0] == single and n]
        boxes: Counter[Box] = Counter()
        if position:
            _, _, sex, standing = position[0]
            boxes = Counter({position[0]: -1, (lot, place, sex, standing): 1})
        self.try_post(single, "regrouped", day, boxes, lot=single, to_lot=lot, place=place)

    @rule(single=singles, place=places, day=days, kind=st.sampled_from(["received", "died", "moved"]))
    def live_and_die_alone(self, *, single: str, place: str, day: int, kind: str) -> None:
        position = [box for box, n in self.boxes(day=day).items() if box[0] == single and n]
        to_place = PLACES[(PLACES.index(place) + 1) % 3] if kind == "moved" else ""
        boxes: Counter[Box] = Counter()
        if kind == "received":
            boxes = Counter({(single, place, "male", "present"): 1})
        elif position:
            boxes[position[0]] -= 1
            if kind == "moved":
                boxes[single, to_place, position[0][2], "present"] += 1
        males = 1 if kind == "received" else 0
        self.try_post(single, kind, day, boxes, lot=single, place=place, to_place=to_place, males=males)

    def try_post(self, single: str, kind: str, day: int, boxes: Counter[Box], **stated: Any) -> None:
        """The ledger takes it exactly when the individual's days stay possible."""
        there = kind == "received" or self.is_there(single, day, stated)
        self.changes.append(Change(None, day, 0, boxes))
        possible = bool(boxes) and there and self.possible(single)
        self.changes.pop()
        if possible:
            self.post(kind, day, boxes, **stated)
        else:
            with pytest.raises(LedgerRefused):
                self.post(kind, day, boxes, **stated)

    def is_there(self, single: str, day: int, stated: dict[str, Any]) -> bool:
        """An individual that leaves is in the place that is stated; one that arrives need not be."""
        places = [box[1] for box, n in self.boxes(day=day).items() if box[0] == single and n]
        return stated["lot"] != single or not places or places == [stated["place"]]

    def possible(self, single: str) -> bool:
        for day in range(201):
            held = [n for box, n in self.boxes(day=day).items() if box[0] == single and n]
            if any(n < 0 for n in held) or sum(held) > 1:
                return False
        return True

    @precondition(lambda self: any(not change.reversed for change in self.changes))
    @rule(data=st.data())
    def take_back(self, data: st.DataObject) -> None:
        change = data.draw(st.sampled_from([change for change in self.changes if not change.reversed]))
        touched = {box[0] for box in change.boxes} & set(SINGLES)
        boxes = Counter({box: -n for box, n in change.boxes.items()})
        self.changes.append(Change(None, change.day, 0, boxes))
        possible = all(self.possible(single) for single in touched)
        self.changes.pop()
        stated: dict[str, Any] = {"reverses": change.identifier}
        if not possible:
            with pytest.raises(LedgerRefused):
                self.post("reversed", 200, boxes, **stated)
            return
        self.post("reversed", 200, boxes, **stated)
        self.changes[-1].day = change.day
        self.changes[-1].reversed = change.reversed = True

    # --- the comparisons ---

    @invariant()
    def the_cached_balances_are_the_models(self) -> None:
        if not hasattr(self, "changes"):
            return
        cells = Cell.objects.filter(inside=True).exclude(balance=0)
        cached = {
            (lot, place, sex, standing): n
            for lot, place, sex, standing, n in cells.values_list(
                "lot__accession", "account__place__code", "sex", "standing", "balance"
            )
        }
        assert cached == {box: n for box, n in self.boxes().items() if n}
        held = Counter[str]()
        for box, n in self.boxes().items():
            held[box[0]] += n
        assert dict(Lot.objects.values_list("accession", "held")) == {
            lot: held[lot] for lot in (*GROUPS, *SINGLES)
        }

    @precondition(lambda self: self.changes)
    @rule(day=days, data=st.data())
    def any_day_as_known_at_any_moment_is_the_models(self, day: int, data: st.DataObject) -> None:
        known = data.draw(st.integers(0, len(self.changes)))
        facts = cell_facts()
        before = end_of_day(FIRST_DAY + timedelta(days=day), self.zone)
        balances = cell_balances(before=before, known_at=self.moment(known))
        read = {
            (facts[cell].accession, facts[cell].place_code, facts[cell].sex, facts[cell].standing): n
            for cell, n in balances.items()
        }
        assert read == {box: n for box, n in self.boxes(day, known).items() if n}


@pytest.mark.django_db
def test_random_histories_agree_with_a_plain_model() -> None:
    run_machine(LedgerMachine, settings=settings(max_examples=60, stateful_step_count=30))
