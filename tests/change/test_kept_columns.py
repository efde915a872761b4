"""What was read before and brought up to date is what would be read now, whatever was entered in between."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils.timezone import get_current_timezone
from hypothesis import example, given, settings
from hypothesis import strategies as st

from census.change.queries.report import Report, change_report, change_reports_of_periods
from census.change.rules.question import Basis, By, Question
from inventory.book.actions.post import LedgerRefused
from inventory.book.models import Event, Period, PeriodVersion
from inventory.book.queries import kept_columns
from inventory.book.rules.scope import Scope
from inventory.names.models import Taxon
from tests.factories import make_event, make_lot, make_period

from .sample import SECOND_QUARTER, THIRD_QUARTER, Sample, make_sample

ZONE = get_current_timezone()
ENTERED = datetime(2026, 10, 20, 12, tzinfo=ZONE)
KNOWN = datetime(2026, 10, 20, 12, 5, tzinfo=ZONE)
FOURTH_QUARTER = replace(THIRD_QUARTER, first_day=date(2026, 10, 1), last_day=date(2026, 12, 31))
QUESTIONS = (
    replace(FOURTH_QUARTER, by=By.LOT),
    replace(THIRD_QUARTER, by=By.PLACE, scope=Scope.OURS),
    replace(THIRD_QUARTER, by=By.SOURCE, basis=Basis.KNOWN),
    replace(SECOND_QUARTER, basis=Basis.KNOWN, known_at=KNOWN),
    replace(THIRD_QUARTER, known_at=KNOWN),
)


def _told(report: Report) -> list[object]:
    rows = [(row.key, row.label, row.taxon, row.change, row.young_most, row.ties) for row in report.rows]
    ends = (report.opening, report.closing, report.opening_scopes, report.closing_scopes)
    return [report.question, rows, report.totals, dict(report.moves), ends, report.named_untied]


def _reports() -> list[list[object]]:
    """Some by themselves, and some quarters at once."""
    alone = [change_report(question, zone=ZONE) for question in QUESTIONS]
    quarters = [SECOND_QUARTER, THIRD_QUARTER, FOURTH_QUARTER]
    return [_told(report) for report in (*alone, *change_reports_of_periods(quarters, zone=ZONE))]


def _read_anew() -> list[list[object]]:
    """Inside a transaction nothing is kept."""
    with transaction.atomic():
        return _reports()


class _House:
    """A sample with a clock that goes on by a minute with each thing that is done."""

    def __init__(self) -> None:
        self.sample = make_sample()
        self.minutes = 0

    @property
    def now(self) -> datetime:
        self.minutes += 1
        return ENTERED + timedelta(minutes=self.minutes)

    def enter(self, kind: str, lot: int, place: int, day: int, n: int) -> None:
        """What the ledger refuses, as a death in an empty tank, is not entered."""
        lots, places = list(self.sample.lots.values()), list(self.sample.places.values())
        said: dict[str, Any] = {"lot": lots[lot], "place": places[place], "unknown": n}
        if kind == "moved":
            said["to_place"] = places[place - 1]
        if kind == "regrouped":
            said["to_lot"] = lots[0 if lot else 1]
        happened = str(date(2026, 5, 20) + timedelta(days=day))
        try:
            make_event(kind, happened=happened, now=self.now, **said)
        except LedgerRefused:
            return

    def do(self, what: str) -> None:
        if what == "reverse":
            of = Event.objects.filter(reverses=None, reversed_by=None).order_by("-id").first()
            try:
                make_event("reversed", reverses=of, happened="2026-10-20", now=self.now)
            except LedgerRefused:
                return
        elif what == "close":
            third, _ = Period.objects.get_or_create(
                code="2026 Q3", starts_on=date(2026, 7, 1), ends_on=date(2026, 9, 30)
            )
            self.sample.close(third, self.now.isoformat())
        elif what == "rename":
            Taxon.objects.filter(pk=self.sample.taxa["goby"].pk).update(scientific_name=f"Gobius {self.now}")
        elif what == "new lot":
            lot = make_lot(taxon=self.sample.taxa["goby"], owner="Another House", unit="shoal")
            make_event("found", lot=lot, place=self.sample.places["E1"], happened="2026-10-02", now=self.now)


entries = st.tuples(
    st.sampled_from(["received", "died", "died", "born", "moved", "regrouped", "sent"]),
    st.integers(0, 8),
    st.integers(0, 3),
    st.integers(0, 150),
    st.integers(1, 2),
)
# Each of them at least once, whatever is drawn.
EACH_KIND: list[tuple[str, int, int, int, int] | str] = [
    ("received", 0, 1, 100, 2),
    ("born", 0, 1, 105, 2),
    ("moved", 0, 1, 110, 1),
    ("died", 0, 1, 115, 1),
    "reverse",
    "new lot",
    "rename",
    "close",
]
steps = st.lists(entries | st.sampled_from(["reverse", "close", "rename", "new lot"]), min_size=1, max_size=7)


@pytest.mark.django_db(transaction=True)
def test_brought_up_to_date_or_read_anew_a_book_says_the_same() -> None:
    """Random entries of all days, late ones too, what takes them back, closings, names and new lots."""
    house = _House()

    @settings(max_examples=30, deadline=None)
    @given(steps=steps)
    @example(steps=EACH_KIND)
    def holds(steps: list[tuple[str, int, int, int, int] | str]) -> None:
        kept_columns.forget()
        _reports()
        for step in steps:
            if isinstance(step, str):
                house.do(step)
            else:
                house.enter(*step)
            assert _reports() == _read_anew()

    holds()
    entered = {*Event.objects.filter(entered_at__gt=ENTERED).values_list("kind", flat=True)}
    assert entered >= {"received", "died", "born", "moved", "reversed", "found"}
    assert PeriodVersion.objects.filter(period__code="2026 Q3").exists()


def _asked(question: Question = FOURTH_QUARTER) -> list[str]:
    """The queries of a report that go through the flows of a period or through cells."""
    with CaptureQueriesContext(connection) as queries:
        change_report(question, zone=ZONE)
    told = (query["sql"] for query in queries)
    return [sql for sql in told if "book_periodbalance" in sql or "FROM book_cell" in sql]


def _an_entry(sample: Sample) -> None:
    make_event("died", lot=sample.lots["goby"], place=sample.places["E1"], happened="2026-10-02")


def _a_name(sample: Sample) -> None:
    Taxon.objects.filter(pk=sample.taxa["goby"].pk).update(scientific_name="Gobius novus")


def _a_closing(sample: Sample) -> None:
    sample.close(make_period(), "2026-10-03")


@pytest.mark.django_db(transaction=True)
def test_after_an_entry_neither_the_closing_nor_the_cells_are_read_again() -> None:
    sample = make_sample()
    assert len(_asked()) >= 2
    _an_entry(sample)
    # The kind of outside cell that the death went to is new.
    assert all("c.id IN" in sql or "ANY" in sql for sql in _asked())
    _an_entry(sample)
    assert _asked() == []


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("happens", [_a_name, _a_closing])
def test_after_a_name_or_a_closing_all_is_read_again(happens: Callable[[Sample], None]) -> None:
    sample = make_sample()
    first = _asked()
    happens(sample)
    assert len(_asked()) >= len(first) >= 2


@pytest.mark.django_db(transaction=True)
def test_more_entries_than_are_added_one_by_one_are_read_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    sample = make_sample()
    _asked()
    _an_entry(sample)
    _asked()
    monkeypatch.setattr(kept_columns, "MOST_ENTERED", 1)
    _an_entry(sample)
    assert _asked() == []
    for _ in range(2):
        _an_entry(sample)
    assert _asked()


@pytest.mark.django_db(transaction=True)
def test_no_more_is_kept_than_there_is_room_for(monkeypatch: pytest.MonkeyPatch) -> None:
    make_sample()
    monkeypatch.setattr(kept_columns, "NUMBERS_KEPT", 1)
    monkeypatch.setattr(kept_columns, "CELLS_KEPT", 1)
    kept_columns.forget()
    first, _ = _asked(), _asked(THIRD_QUARTER)
    assert len(kept_columns._periods) == 1
    assert not kept_columns._cells
    assert len(_asked()) == len(first)
