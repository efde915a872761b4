"""The population change ties after every random sequence of census steps, late entries and restatements.

Each rule takes one step that a house might take, in any order; a step that the procedure refuses
changes nothing. After each, every row of every period must tie, as reported and as known now, and
the closing of one period must be the opening of the next; every paper kept at a closing must still
be the same bytes.
"""

from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any

import pytest
from django.db import transaction
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from hypothesis.stateful import run_state_machine_as_test as run_machine

from census.change.queries.report import Report, change_report
from census.change.rules.question import Basis, By, Question
from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.decide import decide_line
from census.rounds.actions.planning import open_census_of
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.restating import approve_restatement, ask_restatement
from census.rounds.actions.sheets import hand_in, issue, replace_sheet
from census.rounds.actions.signing import abandon, propose, reopen, send_back, sign
from census.rounds.models import Census, Line, Restatement, Sheet
from census.rounds.queries.reading import read_census
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import CensusState, How, SheetState
from inventory.book.actions.post import LedgerRefused
from inventory.book.models import Event, Period, PeriodVersion, VersionStatement
from inventory.book.queries.verification import verify
from inventory.book.rules.kinds import EventKind
from tests import factories
from tests.rounds.house import WITHOUT, ZONE, TestHouse, make_test_house

QUARTERS = ("2026 Q3", "2026 Q4", "2027 Q1")
STARTS = datetime(2026, 10, 1, 9, tzinfo=ZONE)
ENDS = {"2026 Q3": date(2026, 9, 30), "2026 Q4": date(2026, 12, 31), "2027 Q1": date(2027, 3, 31)}
GROUPS = ("goby", "bib", "cod", "shoal", "wrasse", "prawn a", "prawn b", "cases")
PLACE_OF = {
    **dict.fromkeys(("goby", "bib", "cod", "shoal", "wrasse"), "K1"),
    "prawn a": "RA",
    "prawn b": "RB",
    "cases": "K2",
}
# How often the sequences came so far; a machine that never closes anything would prove nothing.
REACHED: Counter[str] = Counter()
quarters = st.sampled_from(QUARTERS)
groups = st.sampled_from(GROUPS)
small = st.integers(1, 6)


class CensusMachine(RuleBasedStateMachine):
    """Steps of a house over three quarters; the clock only goes forward."""

    @initialize(closed=st.booleans(), restated=st.booleans())
    def set_up(self, *, closed: bool, restated: bool) -> None:
        """Half of the houses begin with a quarter that is closed, and half of these with it restated."""
        self.transaction = transaction.atomic()
        self.transaction.__enter__()
        self.house: TestHouse = make_test_house()
        self.now = STARTS
        self.papers: dict[int, bytes] = {}
        if closed:
            self.go_through(code=QUARTERS[0], off=[0] * 12)
        if closed and restated:
            self.write_a_slip(kind="died", name="shoal", n=6, day=20)
            self.restate(code=QUARTERS[0])
            self.propose_and_sign(code=QUARTERS[0])

    def teardown(self) -> None:
        if hasattr(self, "transaction"):
            REACHED["closed"] += PeriodVersion.objects.filter(number=1).count()
            REACHED["restated"] += PeriodVersion.objects.filter(number__gt=1).count()
            assert [f for f in verify(ZONE).findings if f.check != "triggers"] == []
            transaction.set_rollback(True)
            self.transaction.__exit__(None, None, None)

    def step(self, does: Callable[[], Any]) -> None:
        """One step; refused ones leave nothing behind."""
        self.now += timedelta(hours=7)
        with suppress(CensusRefused, LedgerRefused), transaction.atomic():
            does()

    def census(self, code: str) -> Census | None:
        return Census.objects.filter(period__code=code).exclude(state=CensusState.ABANDONED.value).first()

    @rule(code=quarters)
    def open(self, *, code: str) -> None:
        places = [self.house.places[place] for place in ("K1", "K2", "RA", "LO")]
        self.step(
            lambda: open_census_of(
                period=code, places=places, by=self.house.registrar, now=self.now, zone=ZONE
            )
        )

    @rule(code=quarters, off=st.lists(st.integers(-3, 3), min_size=12, max_size=12))
    def count_everything(self, *, code: str, off: list[int]) -> None:
        """Issues what is not issued and counts every line near the book; then compares."""
        census = self.census(code)
        if census is None:
            return
        at = min(self.now, datetime.combine(ENDS[code], datetime.min.time(), ZONE) + timedelta(hours=10))

        def work() -> None:
            for sheet in Sheet.objects.filter(census=census, state=SheetState.NOT_ISSUED.value):
                issue(sheet=sheet, by=self.house.registrar, now=self.now, counters=[self.house.first])
            for k, row in enumerate(read_census(census)):
                for part in row.parts:
                    if not part.counts:
                        n = max(0, part.at_end.total - part.at_end.missing + off[k % len(off)])
                        self._take(part.line, at, n)
            for sheet in Sheet.objects.filter(census=census, state=SheetState.STARTED.value):
                hand_in(sheet=sheet, by=self.house.first, now=self.now)
            compare_counts(census=census, by=self.house.registrar, now=self.now, zone=ZONE)

        self.step(work)

    def _take(self, line: Line, at: datetime, n: int, round_: int = 1) -> None:
        counter = self.house.first if round_ == 1 else self.house.second
        entry = Entry(line=line.number, counted_at=at, counter=counter, value=n)
        take_counts(sheet=line.sheet, entries=[entry], by=counter, now=self.now, round=round_)

    @rule(code=quarters, name=groups)
    def recount(self, *, code: str, name: str) -> None:
        """A second count that says the same as the first."""
        line = self._line(code, name)
        if line is None:
            return

        def work() -> None:
            first = line.counts.filter(round=1, replaced_by=None).first()
            assert first is None or first.value is not None
            ask_recount(lines=[line], of=self.house.second, by=self.house.registrar, now=self.now)
            if first is not None and first.value is not None:
                self._take(line, first.counted_at, first.value, 2)
            hand_in(sheet=line.sheet, by=self.house.second, now=self.now)

        self.step(work)

    def _line(self, code: str, name: str) -> Line | None:
        census = self.census(code)
        if census is None:
            return None
        return (
            Line.objects.filter(sheet__census=census, lots=self.house.lots[name], sheet__replaced_by=None)
            .select_related("sheet__census", "place", "taxon")
            .first()
        )

    @rule(code=quarters, how=st.sampled_from(("adjust", "query", "late")))
    def settle_everything(self, *, code: str, how: str) -> None:
        census = self.census(code)
        if census is None:
            return
        for row in read_census(census):
            if row.needs_settling and row.latest is not None and row.latest.difference:
                self._settle(row.line, row.latest.difference, how, row.parts[0].lots[0].accession)

    def _settle(self, line: Line, difference: int, how: str, accession: str) -> None:
        gain = difference > 0
        settling = {
            "adjust": Settling(
                how=How.ADJUSTMENT,
                reason="unexplained gain" if gain else "unexplained loss",
                n=difference,
                accessions=(accession,),
                note="looked twice",
            ),
            "late": Settling(
                how=How.LATE_EVENT,
                kind=EventKind.BORN if gain else EventKind.DIED,
                n=abs(difference),
                happened="2026-09-10",
                reason="late birth entry" if gain else "late death entry",
                accessions=(accession,),
            ),
            "query": Settling(
                how=How.OPEN_QUERY, owner=self.house.curator.name, due=self.now.date() + timedelta(days=30)
            ),
        }[how]
        self.step(
            lambda: decide_line(
                line=line,
                settling=settling,
                by=self.house.registrar,
                now=self.now,
                zone=ZONE,
                approved_by=self.house.curator,
                countersigned_by=self.house.officer,
            )
        )

    @rule(code=quarters)
    def propose_and_sign(self, *, code: str) -> None:
        census = self.census(code)
        if census is not None:
            self.now += timedelta(days=1)
            self.step(lambda: propose(census=census, by=self.house.registrar, now=self.now))
            self.step(
                lambda: sign(
                    census=census, by=self.house.curator, now=self.now, zone=ZONE, without_sample=WITHOUT
                )
            )

    @rule(code=quarters, back=st.booleans())
    def send_back_or_reopen(self, *, code: str, back: bool) -> None:
        census, does = self.census(code), send_back if back else reopen
        if census is not None:
            self.step(lambda: does(census=census, by=self.house.curator, now=self.now, note="look again"))

    @rule(code=quarters, off=st.lists(st.integers(-2, 2), min_size=12, max_size=12))
    def go_through(self, *, code: str, off: list[int]) -> None:
        """A census from opening to signature, as far as the procedure lets it."""
        self.now = max(self.now, datetime.combine(ENDS[code] + timedelta(days=3), datetime.min.time(), ZONE))
        self.open(code=code)
        self.count_everything(code=code, off=off)
        for name in GROUPS:
            self.recount(code=code, name=name)
        for how in ("adjust", "query"):
            self.settle_everything(code=code, how=how)
        self.propose_and_sign(code=code)

    @rule(code=quarters)
    def restate(self, *, code: str) -> None:
        period = Period.objects.filter(code=code).first()
        if period is None:
            return
        self.step(
            lambda: ask_restatement(
                period=period, why="late slips", by=self.house.registrar, now=self.now, zone=ZONE
            )
        )
        waiting = Restatement.objects.filter(period=period, approved_at=None).first()
        if waiting is not None:
            self.step(
                lambda: approve_restatement(
                    restatement=waiting, by=self.house.curator, now=self.now, zone=ZONE
                )
            )

    @rule(code=quarters)
    def lose_a_sheet(self, *, code: str) -> None:
        census = self.census(code)
        sheet = census.sheets.filter(replaced_by=None).first() if census else None
        if sheet is not None:
            self.step(
                lambda: replace_sheet(
                    sheet=sheet, state=SheetState.VOID, by=self.house.registrar, now=self.now, note="wet"
                )
            )

    @rule(code=quarters)
    def give_up(self, *, code: str) -> None:
        census = self.census(code)
        if census is not None:
            self.step(lambda: abandon(census=census, by=self.house.registrar, now=self.now, note="storm"))

    @rule(
        kind=st.sampled_from(("died", "born", "received", "moved")),
        name=groups,
        n=small,
        day=st.integers(0, 80),
    )
    def write_a_slip(self, *, kind: str, name: str, n: int, day: int) -> None:
        """Today's or a late one: dated up to eighty days back, also into closed periods."""
        happened = max(date(2026, 7, 1), self.now.date() - timedelta(days=day))
        more = {"to_place": "K2" if PLACE_OF[name] == "K1" else "K1"} if kind == "moved" else {}
        self.step(
            lambda: factories.make_event(
                kind,
                lot=self.house.lots[name],
                place=PLACE_OF[name],
                unknown=n,
                happened=str(happened),
                now=self.now,
                zone=ZONE,
                entered_by=self.house.first,
                **more,
            )
        )

    @rule()
    def take_the_last_slip_back(self) -> None:
        last = Event.objects.exclude(kind__in=("reversed", "opening")).filter(reversed_by=None).last()
        if last is not None:
            self.step(
                lambda: factories.make_reversal(
                    last, happened=str(self.now.date()), now=self.now, entered_by=self.house.first
                )
            )

    @rule(weeks=st.integers(1, 9))
    def let_time_pass(self, *, weeks: int) -> None:
        self.now += timedelta(weeks=weeks)

    @invariant()
    def every_report_ties(self) -> None:
        if not hasattr(self, "transaction"):
            return
        for basis in (Basis.REPORTED, Basis.KNOWN):
            reports = [self._report(code, basis, By.TAXON) for code in QUARTERS]
            for report in reports:
                assert report.untied == []
            for before, after in pairwise(reports):
                assert _figures(before, "closing") == _figures(after, "opening")
        assert self._report(QUARTERS[0], Basis.REPORTED, By.PLACE).untied == []

    def _report(self, code: str, basis: Basis, by: By) -> Report:
        end = ENDS[code]
        start = end.replace(month=end.month - 2, day=1)
        return change_report(Question(first_day=start, last_day=end, by=by, basis=basis), zone=ZONE)

    @invariant()
    def kept_papers_stay(self) -> None:
        for paper in VersionStatement.objects.all():
            assert self.papers.setdefault(paper.pk, bytes(paper.content)) == bytes(paper.content)

    @invariant()
    def a_closed_census_points_to_the_newest_version(self) -> None:
        for census in Census.objects.filter(state=CensusState.CLOSED.value).select_related("version"):
            newest = PeriodVersion.objects.filter(period=census.period).order_by("-number").first()
            assert census.version == newest


def _figures(report: Report, column: str) -> dict[tuple[str, str], int]:
    """A column by name and unit, rows of nothing left out."""
    found = {(row.taxon.scientific_name, row.unit): row.value(column) for row in report.rows}
    return {key: n for key, n in found.items() if n}


@pytest.mark.django_db
@pytest.mark.slow
def test_the_population_change_ties_after_any_sequence_of_steps() -> None:
    run_machine(
        CensusMachine,
        settings=settings(max_examples=12, stateful_step_count=25, deadline=None),
    )
    assert REACHED["closed"] > 0
    assert REACHED["restated"] > 0
