"""The layouts against a model in plain words: what was said of each event, added up one by one.

The model knows nothing of cells, flows and columns; it is told what people entered and when, and what was
taken back.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

import pytest
from django.db import transaction
from django.utils.timezone import get_current_timezone
from hypothesis import example, given, settings
from hypothesis import strategies as st

from census.change.rules.columns import IN_COLUMNS, OUT_COLUMNS
from census.change.rules.question import Basis, Question
from census.reports.queries.documents import document_of
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.checking import failures
from census.reports.rules.said import Saying
from inventory.book.actions.close import PeriodNotClosed, close_period
from inventory.book.actions.post import LedgerRefused
from inventory.book.models import Event, Lot, Period, Place
from inventory.book.rules.happened import end_of_day, start_of_day
from inventory.book.rules.kinds import ARRIVALS, DEPARTURES
from inventory.book.rules.scope import Scope
from tests.factories import make_event, make_house, make_lot, make_person, make_place, make_taxon

ZONE = get_current_timezone()
ENTERED = datetime(2026, 10, 20, 12, tzinfo=ZONE)
QUARTERS = {
    "2026 Q2": (date(2026, 4, 1), date(2026, 6, 30)),
    "2026 Q3": (date(2026, 7, 1), date(2026, 9, 30)),
}
Row = tuple[str, ...]
Changes = dict[Row, Counter[str]]


class Said(NamedTuple):
    """What somebody entered: ``at`` is when it happened."""

    kind: str
    lot: str
    place: str
    to_lot: str
    to_place: str
    n: int
    at: datetime
    entered: datetime


@dataclass
class House:
    """A small house; ``owners`` and ``names`` by lot. What is taken back is known by its number."""

    lots: dict[str, Lot] = field(default_factory=dict)
    places: dict[str, Place] = field(default_factory=dict)
    said: dict[int, Said] = field(default_factory=dict)
    back: dict[int, datetime] = field(default_factory=dict)
    closed: dict[date, datetime] = field(default_factory=dict)
    minutes: int = 0

    def now(self) -> datetime:
        self.minutes += 1
        return ENTERED + timedelta(minutes=self.minutes)

    def enter(self, kind: str, lot: str, place: str, to_lot: str, to_place: str, when: str, n: int) -> None:
        now = self.now()
        stated: dict[str, Any] = {"lot": self.lots[lot], "place": self.places[place], "unknown": n}
        target_lot = to_lot if kind == "regrouped" else lot
        target_place = to_place if kind in ("moved", "loan_out", "back_from_loan") else place
        if kind == "regrouped":
            stated["to_lot"] = self.lots[to_lot]
        elif target_place != place or kind in ("moved", "loan_out", "back_from_loan"):
            stated["to_place"] = self.places[to_place]
        try:
            event = make_event(kind, happened=when, now=now, entered_by="Keeper", **stated)
        except LedgerRefused:
            return
        at = event.effective_at
        self.said[event.pk] = Said(kind, lot, place, target_lot, target_place, n, at, now)

    def reverse(self, which: int) -> None:
        left = [pk for pk in self.said if pk not in self.back]
        if left:
            pk, now = left[which % len(left)], self.now()
            try:
                make_event("reversed", reverses=Event.objects.get(pk=pk), now=now, entered_by="Keeper")
            except LedgerRefused:
                return
            self.back[pk] = now

    def close(self, code: str) -> None:
        first, last = QUARTERS[code]
        period, _ = Period.objects.get_or_create(code=code, starts_on=first, ends_on=last)
        now = self.now()
        close_period(period, closed_at=now, signed_by=make_person(), zone=ZONE)
        self.closed[last] = now

    # The model.

    def true(self, known: datetime | None) -> Iterator[Said]:
        """What stood in the book at a moment (None: now), without what had been taken back."""
        for pk, one in self.said.items():
            taken_back = pk in self.back and (known is None or self.back[pk] <= known)
            if not taken_back and (known is None or one.entered <= known):
                yield one

    def parts(self, one: Said, row_of: Callable[[str, str], Row], scope: Scope) -> list[tuple[Row, str, int]]:
        """What an event does: rows, the columns of the change, and by how many."""
        counts = [
            scope is Scope.ALL
            or (scope is Scope.HERE and place != "AWAY")
            or (scope is Scope.OURS and not self.lots[lot].owner)
            for lot, place in ((one.lot, one.place), (one.to_lot, one.to_place))
        ]
        here, there = row_of(one.lot, one.place), row_of(one.to_lot, one.to_place)
        if one.kind in ARRIVALS:
            return [(here, one.kind, one.n)] if counts[0] else []
        if one.kind in DEPARTURES:
            return [(here, one.kind, -one.n)] if counts[0] else []
        if counts == [True, True]:
            way = "regrouped" if one.lot != one.to_lot else "moved"
            both = [(here, f"{way}_out", -one.n), (there, f"{way}_in", one.n)]
            return [] if here == there else both
        across = ("loan_out", "back_from_loan") if scope is Scope.HERE else ("regrouped_out", "regrouped_in")
        if counts[0]:
            return [(here, across[0], -one.n)]
        return [(there, across[1], one.n)] if counts[1] else []

    def change(self, question: Question, row_of: Callable[[str, str], Row]) -> Changes:
        start, end = start_of_day(question.first_day, ZONE), end_of_day(question.last_day, ZONE)
        known = [question.known_at, question.known_at]
        if question.basis is Basis.REPORTED:
            days = (question.first_day - timedelta(days=1), question.last_day)
            known = [self.closed.get(day) for day in days]
        found: defaultdict[Row, Counter[str]] = defaultdict(Counter)
        for one in (one for one in self.true(known[0]) if one.at < start):
            for row, _, n in self.parts(one, row_of, question.scope):
                found[row]["opening"] += n
                found[row]["late"] -= n
        for one in self.true(known[1]):
            for row, column, n in self.parts(one, row_of, question.scope):
                if one.at < start:
                    found[row]["late"] += n
                elif one.at < end:
                    found[row][column] += n if column == "opening" else abs(n)
                if one.at < end:
                    found[row]["closing"] += n
        return {row: numbers for row, numbers in found.items() if any(numbers.values())}


def make_model_house() -> House:
    make_house()
    make_person("Keeper")
    house = House()
    house.places = {code: make_place(code) for code in ("E1", "E2")}
    house.places["AWAY"] = make_place("AWAY", kind="off_site")
    goby, wrasse = make_taxon("Gobius niger"), make_taxon("Labrus mixtus")
    for accession, taxon, owner in (
        ("G1", goby, ""),
        ("G2", goby, ""),
        ("W", wrasse, ""),
        ("L", wrasse, "X"),
    ):
        house.lots[accession] = make_lot(accession, taxon=taxon, owner=owner)
    return house


def _name(house: House, lot: str) -> str:
    return house.lots[lot].taxon.scientific_name


def _shown(layout: str, part: str, question: Question, columns: dict[str, str], subject: str = "") -> Changes:
    """The lines of a part by label and name, each column under the name that the model has for it."""
    document = document_of(LAYOUTS[layout], question, Saying(ZONE), subject)
    assert failures(document) == []
    found: Changes = {}
    for table in document.part(part).tables():
        for line in table.lines:
            row = tuple(filter(None, (line.label, line.name.accepted if line.name else "")))
            figures = line.figures
            numbers = Counter({told: figures[key].number for key, told in columns.items()})
            found[row] = numbers
    return {row: numbers for row, numbers in found.items() if any(numbers.values())}


def _columns(numbers: Counter[str], wanted: dict[str, dict[str, int]]) -> Counter[str]:
    return Counter(
        {key: sum(sign * numbers[name] for name, sign in of.items()) for key, of in wanted.items()}
    )


_SELF = {name: {name: 1} for name in ("opening", "late", "closing", "found", "unaccounted")}
_IN = dict.fromkeys((name for name in IN_COLUMNS if name != "found"), 1)
_OUT = dict.fromkeys((name for name in OUT_COLUMNS if name != "unaccounted"), 1)
_SHORT: dict[str, dict[str, int]] = {**_SELF, "in": _IN, "out": _OUT}
_BETWEEN = {"moved_in": 1, "moved_out": -1, "regrouped_in": 1, "regrouped_out": -1}
_OF: dict[str, dict[str, dict[str, int]]] = {
    "taxa": {**_SHORT, "between": _BETWEEN},
    "exhibits": {
        **_SHORT,
        "moved_in": {"moved_in": 1},
        "moved_out": {"moved_out": 1},
        "regrouped": {"regrouped_in": 1, "regrouped_out": -1},
    },
}


def _told(changes: Changes, layout: str) -> Changes:
    found = {row: _columns(numbers, _OF[layout]) for row, numbers in changes.items()}
    return {row: numbers for row, numbers in found.items() if any(numbers.values())}


def holds_for(house: House, question: Question) -> None:
    def by_taxon(lot: str, place: str) -> Row:
        return (_name(house, lot),)

    def by_place(lot: str, place: str) -> Row:
        return (place, _name(house, lot))

    def by_owner(lot: str, place: str) -> Row:
        owner = house.lots[lot].owner
        return (f"on loan to the house: {owner}" if owner else "own", _name(house, lot))

    for layout, part, row_of in (("taxa", "short", by_taxon), ("exhibits", "places", by_place)):
        shown = _shown(layout, part, question, {key: key for key in _OF[layout]})
        assert shown == _told(house.change(question, row_of), layout), (layout, question)
    ends = {key: {key: 1} for key in ("opening", "closing")}
    owned = {row: _columns(numbers, ends) for row, numbers in house.change(question, by_owner).items()}
    shown = _shown("stock-list", "list", question, {key: key for key in ends})
    assert shown == {row: numbers for row, numbers in owned.items() if any(numbers.values())}
    course = _shown("taxon", "course", question, {key: key for key in _OF["taxa"]}, "Gobius niger")
    periods = document_of(LAYOUTS["periods"], question, Saying(ZONE))
    assert failures(periods) == []
    for code, (first, last) in QUARTERS.items():
        of_quarter = house.change(replace(question, first_day=first, last_day=last), by_taxon)
        told = _told(of_quarter, "taxa").get(("Gobius niger",), Counter())
        assert course.get((code,), Counter()) == told, code
        closings = {
            (line.name.accepted,): line.figures[code].number
            for table in periods.part("numbers").tables()
            for line in table.lines
            if line.name and code in line.figures
        }
        if closings:
            for row, closing in closings.items():
                assert closing == of_quarter.get(row, Counter())["closing"], (row, code)


# Midnights of the house, and moments beside them.
WHEN = st.sampled_from(
    [
        "2026-03-31",
        "2026-04-01",
        "2026-05-20",
        "2026-06-30T23:59",
        "2026-07-01",
        "2026-07-01T00:30",
        "2026-08-10",
        "2026-09-30",
        "2026-09-30T23:59",
        "2026-10-01",
        "2026-10-10T12:00",
    ]
)
KINDS = ["received", "taken", "loan_in", "born", "found", "opening", "died", "died", "sent", "unaccounted"]
KINDS += ["given_back", "moved", "moved", "loan_out", "back_from_loan", "regrouped", "regrouped", "put_down"]
lots, places = st.sampled_from(["G1", "G2", "W", "L"]), st.sampled_from(["E1", "E2", "AWAY"])
entries = st.tuples(st.sampled_from(KINDS), lots, places, lots, places, WHEN, st.integers(1, 9))
steps = st.lists(entries | st.integers(0, 20) | st.sampled_from(list(QUARTERS)), min_size=3, max_size=25)
ONE_OF_EACH: list[Any] = [
    ("received", "G1", "E1", "G1", "E1", "2026-05-20", 9),
    ("loan_in", "L", "E2", "L", "E2", "2026-05-20", 5),
    ("regrouped", "G1", "E1", "W", "E1", "2026-06-30T23:59", 2),
    "2026 Q2",
    ("died", "G1", "E1", "G1", "E1", "2026-06-30T23:59", 1),
    ("moved", "G1", "E1", "G1", "E2", "2026-07-01T00:00", 3),
    ("loan_out", "G1", "E2", "G1", "AWAY", "2026-08-10", 2),
    "2026 Q3",
    3,
    ("back_from_loan", "G1", "AWAY", "G1", "E1", "2026-09-30T23:59", 1),
    "2026 Q2",
    ("given_back", "L", "E2", "L", "E2", "2026-10-01", 1),
]


@pytest.mark.django_db
def test_every_layout_says_what_adding_up_says_by_hand() -> None:
    """Random entries of all days, also at midnight; what takes them back; closings and restatements."""
    house = make_model_house()
    tried: Counter[str] = Counter()

    @settings(max_examples=15, deadline=None)
    @given(steps=steps, known=st.integers(0, 25), scope=st.sampled_from(Scope))
    @example(steps=ONE_OF_EACH, known=6, scope=Scope.HERE)
    @example(steps=ONE_OF_EACH, known=25, scope=Scope.OURS)
    def holds(steps: list[Any], known: int, scope: Scope) -> None:
        with transaction.atomic():
            house.said, house.back, house.closed, house.minutes = {}, {}, {}, 0
            for step in steps:
                if isinstance(step, tuple):
                    house.enter(*step)
                elif isinstance(step, int):
                    house.reverse(step)
                else:
                    try:
                        house.close(step)
                    except PeriodNotClosed:
                        continue
            tried.update(one.kind for one in house.said.values())
            tried["reversed"] += len(house.back)
            tried["closed"] += len(house.closed)
            asked = Question(*QUARTERS["2026 Q3"], scope=scope)
            moment = ENTERED + timedelta(minutes=known, seconds=30)
            for question in (asked, replace(asked, basis=Basis.KNOWN, known_at=moment)):
                holds_for(house, question)
            transaction.set_rollback(True)

    holds()
    assert set(tried) >= {*(step[0] for step in ONE_OF_EACH if isinstance(step, tuple)), "reversed", "closed"}
