"""The report: two bases, late entries, continuity, snapshots, ties, and its command."""

import csv
import json
from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from io import StringIO
from itertools import product

import pytest
from django.core.management import CommandError, call_command
from django.db.models import F
from django.utils.timezone import get_current_timezone
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from pytest_django import DjangoAssertNumQueries

from census.change.queries.report import Report, Row, change_report
from census.change.rules.arithmetic import Change
from census.change.rules.columns import COLUMNS, SIGNS
from census.change.rules.question import Basis, By, Question, default_basis, last_quarter
from inventory.book.actions.close import close_period
from inventory.book.models import Cell, PeriodBalance
from inventory.book.queries.quantities import StockBy, stock
from inventory.book.rules.happened import end_of_day
from inventory.book.rules.scope import Scope
from tests.factories import make_lot, make_period, make_place, make_taxon

from .rows import Book
from .sample import SECOND_QUARTER, THIRD_QUARTER, Sample, make_sample

pytestmark = pytest.mark.django_db

EVERY_WAY = list(product(By, Scope, Basis))


@pytest.fixture
def sample() -> Sample:
    return make_sample()


def _ask(question: Question) -> Report:
    return change_report(question, zone=get_current_timezone())


def _row(report: Report, name: str, unit: str = "animal", label: str = "") -> Row:
    (row,) = [
        row
        for row in report.rows
        if row.taxon.scientific_name == name and row.unit == unit and row.label == label
    ]
    return row


def _figures(change: Change) -> dict[str, int]:
    return {column: n for column, n in change.flows.items() if n}


@pytest.mark.parametrize(("by", "scope", "basis"), EVERY_WAY)
def test_every_row_ties_whatever_is_asked(sample: Sample, by: By, scope: Scope, basis: Basis) -> None:
    """The identity of the yearly stock list of the Great Britain zoo standards, *from memory*:
    start + arrived + born - died - left = end."""
    report = _ask(replace(THIRD_QUARTER, by=by, scope=scope, basis=basis))
    assert report.rows
    assert not report.untied
    for row in report.rows:
        change = row.change
        ins_and_outs = sum(SIGNS[column] * n for column, n in change.flows.items())
        assert change.opening + ins_and_outs + change.late == change.closing
        assert row.unit == row.key.unit
        assert row.change.flows["died_within_30_days"] <= row.young_most
    house = Change()
    for total in report.totals.values():
        house.add(total)
    assert house.flows["moved_in"] == house.flows["moved_out"]
    if scope is not Scope.OURS:
        assert house.flows["regrouped_in"] == house.flows["regrouped_out"]


@pytest.mark.parametrize(("by", "scope", "basis"), EVERY_WAY)
def test_the_closing_of_one_period_is_the_opening_of_the_next(
    sample: Sample, by: By, scope: Scope, basis: Basis
) -> None:
    second = _ask(replace(SECOND_QUARTER, by=by, scope=scope, basis=basis))
    third = _ask(replace(THIRD_QUARTER, by=by, scope=scope, basis=basis))
    closings = {row.key: row.change for row in second.rows if row.change.closing}
    # Stock that is loaded inside the period belongs to its opening and to no closing before.
    loaded = sample.taxa["coral"].pk
    openings = {
        row.key: row.change for row in third.rows if row.change.opening and row.key.taxon_id != loaded
    }
    assert {key: change.closing for key, change in closings.items()} == {
        key: change.opening for key, change in openings.items()
    }
    assert {key: change.closing_mfu for key, change in closings.items()} == {
        key: change.opening_mfu for key, change in openings.items()
    }


@pytest.mark.parametrize("scope", list(Scope))
@pytest.mark.parametrize(
    ("by", "stock_by"), [(By.TAXON, StockBy.TAXON), (By.PLACE, StockBy.PLACE), (By.LOT, StockBy.LOT)]
)
def test_the_closing_is_the_stock_at_the_end_of_the_period(
    sample: Sample, by: By, stock_by: StockBy, scope: Scope
) -> None:
    report = _ask(replace(THIRD_QUARTER, by=by, scope=scope, basis=Basis.KNOWN))
    before = end_of_day(THIRD_QUARTER.last_day, get_current_timezone())
    held: dict[tuple[str, str], tuple[int, int]] = {}
    for row in report.rows:
        key = (row.label or row.taxon.scientific_name, row.unit)
        total, missing = held.get(key, (0, 0))
        held[key] = (total + row.change.closing, missing + row.change.missing)
    expected = {
        (row.label, row.unit): (row.held.total, row.held.missing)
        for row in stock(by=stock_by, before=before, scope=scope)
    }
    assert {key: numbers for key, numbers in held.items() if any(numbers)} == expected


def test_the_quarter_by_taxon_has_each_event_in_its_column(sample: Sample) -> None:
    report = _ask(THIRD_QUARTER)
    goby = _row(report, "Gobius niger")
    assert (goby.change.opening, goby.change.late, goby.change.closing) == (30, -2, 25)
    assert _figures(goby.change) == {"died": 1, "found": 1, "unaccounted": 4, "released": 1, "settled": 2}
    assert goby.change.missing == 1
    wrasse = _row(report, "Labrus mixtus")
    assert (wrasse.change.opening_mfu, wrasse.change.closing_mfu) == ("2.5.0", "3.3.0")
    assert _figures(wrasse.change) == {"put_down": 1}
    young = _row(report, "Hippocampus guttulatus")
    assert _figures(young.change) == {"died_within_30_days": 3, "died": 1, "given_back": 1}
    assert young.young_most == 3
    shark = _row(report, "Scyliorhinus canicula")
    assert _figures(shark.change) == {"loan_out": 3, "back_from_loan": 1}
    assert _figures(_row(report, "Scyliorhinus canicula", "egg case").change) == {"born": 23}
    coral = _row(report, "Eunicella verrucosa", "colony")
    assert (coral.change.opening, coral.change.opening_mfu, coral.change.closing) == (4, "0.0.4", 5)


def test_moves_stand_where_rows_are_places_and_regroups_where_they_are_lots(sample: Sample) -> None:
    by_place = _ask(replace(THIRD_QUARTER, by=By.PLACE))
    assert _row(by_place, "Gobius niger", label="E1").change.flows["moved_out"] == 6
    assert _row(by_place, "Gobius niger", label="E2").change.flows["moved_in"] == 6
    by_lot = _ask(replace(THIRD_QUARTER, by=By.LOT))
    assert _row(by_lot, "Gobius niger", label="GOBY").change.flows["regrouped_out"] == 2
    assert _row(by_lot, "Gobius niger", label="GOBY2").change.flows["regrouped_in"] == 2


def test_a_loan_is_a_move_when_both_ends_are_counted(sample: Sample) -> None:
    by_place = _ask(replace(THIRD_QUARTER, by=By.PLACE, scope=Scope.OURS))
    assert _figures(_row(by_place, "Scyliorhinus canicula", label="AWAY").change) == {
        "moved_in": 3,
        "moved_out": 1,
    }
    assert _figures(_row(_ask(replace(THIRD_QUARTER, scope=Scope.ALL)), "Scyliorhinus canicula").change) == {}


def test_young_that_change_hands_are_regrouped_out_of_ours(sample: Sample) -> None:
    young = _row(_ask(replace(THIRD_QUARTER, scope=Scope.OURS)), "Hippocampus guttulatus")
    assert young.change.flows["regrouped_out"] == 5


def test_by_source_rows_carry_the_permit_and_regrouped_lots_inherit_it(sample: Sample) -> None:
    report = _ask(replace(THIRD_QUARTER, by=By.SOURCE))
    labels = {row.label for row in report.rows if row.taxon == sample.taxa["goby"]}
    assert labels == {"P2 + opening stock", "P2 + found + opening stock + settled"}


def test_as_reported_a_late_entry_is_late_and_as_known_it_is_where_it_happened(sample: Sample) -> None:
    reported = _ask(THIRD_QUARTER)
    assert reported.opening.version == sample.second
    assert _row(reported, "Gobius niger").change.late == -2
    known = _ask(replace(THIRD_QUARTER, basis=Basis.KNOWN))
    assert (_row(known, "Gobius niger").change.opening, _row(known, "Gobius niger").change.late) == (28, 0)
    assert _row(_ask(SECOND_QUARTER), "Gobius niger").change.closing == 30
    second_known = _row(_ask(replace(SECOND_QUARTER, basis=Basis.KNOWN)), "Gobius niger").change
    assert (second_known.closing, second_known.flows["died"]) == (28, 2)


def test_reported_at_a_moment_honours_the_closings_that_existed_then(sample: Sample) -> None:
    moment = sample.book.moment
    before = replace(THIRD_QUARTER, known_at=moment("2026-07-14"))
    assert _ask(before).opening.version is None
    assert _ask(replace(before, known_at=moment("2026-07-15"))).opening.version == sample.second
    late = _ask(replace(before, known_at=moment("2026-10-01")))
    assert _row(late, "Gobius niger").change.late == 0


def test_a_restatement_takes_the_late_line_back_into_its_period(sample: Sample) -> None:
    sample.close(sample.second.period, "2026-10-03")
    third = _row(_ask(THIRD_QUARTER), "Gobius niger").change
    assert (third.opening, third.late) == (28, 0)
    assert _row(_ask(SECOND_QUARTER), "Gobius niger").change.closing == 28


def test_an_opening_restated_after_the_closing_still_ties(sample: Sample) -> None:
    sample.close(make_period(), "2026-10-01T12:00")
    sample.close(sample.second.period, "2026-10-03")
    report = _ask(THIRD_QUARTER)
    goby = _row(report, "Gobius niger").change
    assert (goby.opening, goby.late, goby.closing) == (28, 2, 27)
    assert not report.untied


def test_a_snapshot_and_all_flows_give_the_same_report(
    sample: Sample, monkeypatch: pytest.MonkeyPatch
) -> None:
    sample.close(make_period(), "2026-10-15")
    questions = [replace(THIRD_QUARTER, by=by, scope=scope, basis=basis) for by, scope, basis in EVERY_WAY]
    with_snapshots = [list(_ask(question).records()) for question in questions]
    columns = "inventory.book.queries.quantities.columns"
    monkeypatch.setattr(f"{columns}.snapshot", lambda versions, before, known_at: None)
    monkeypatch.setattr(f"{columns}.from_now", lambda before, known_at: None)
    assert [list(_ask(question).records()) for question in questions] == with_snapshots


def test_a_wrong_snapshot_shows_in_rows_that_do_not_tie(sample: Sample) -> None:
    never_there = sample.book.cell(sample.lots["goby"], sample.places["E1"], "male")
    PeriodBalance.objects.create(version=sample.second, cell=never_there, n=1)
    assert _ask(THIRD_QUARTER).named_untied == ["Gobius niger animal"]
    with pytest.raises(CommandError, match="Does not tie on 1 rows: Gobius niger animal") as wrong:
        call_command("change", "--from=2026-07-01", "--to=2026-09-30", "--format=csv", stdout=StringIO())
    assert wrong.value.returncode == 1


def test_a_wrong_cached_balance_shows_in_rows_that_do_not_tie(sample: Sample) -> None:
    Cell.objects.filter(lot=sample.lots["wrasse"], sex="male", inside=True).update(balance=F("balance") + 1)
    assert _ask(THIRD_QUARTER).named_untied == ["Labrus mixtus animal"]


def test_a_taxon_that_came_and_went_stays_and_one_that_never_was_is_left_out(sample: Sample) -> None:
    first = Question(date(2026, 1, 1), date(2026, 3, 31))
    gone = _row(_ask(first), "Eunicella verrucosa", "colony").change
    assert (gone.opening, gone.closing, gone.flows["received"], gone.flows["sent"]) == (0, 0, 3, 3)
    assert "Eunicella verrucosa" not in {
        row.taxon.scientific_name for row in _ask(replace(SECOND_QUARTER, by=By.TAXON)).rows
    }


@pytest.mark.parametrize("by", list(By))
def test_the_number_of_queries_does_not_grow_with_rows(
    sample: Sample, by: By, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    def count(limit: int) -> int:
        with django_assert_max_num_queries(limit) as captured:
            _ask(replace(THIRD_QUARTER, by=by))
        return len(captured)

    asked = count(16)
    for _ in range(15):
        lot, place = make_lot(), make_place()
        sample.book.crossing("born", "2026-07-05", lot, place, 9)
        sample.book.crossing("died", "2026-07-10", lot, place, 1)
    assert count(16) == asked


def test_counts_in_from_is_an_age_at_which_young_enter(sample: Sample) -> None:
    """Young that enter the book on day 30 are young on that day only."""
    taxon = make_taxon(counts_in_from="day 30")
    lot, place = make_lot(taxon=taxon), make_place()
    sample.book.crossing("born", "2026-07-05", lot, place, 9)
    sample.book.crossing("died", "2026-07-05T10:00", lot, place, 1)
    sample.book.crossing("died", "2026-07-06", lot, place, 2)
    change = _row(_ask(THIRD_QUARTER), taxon.scientific_name).change
    assert (change.flows["died_within_30_days"], change.flows["died"]) == (1, 2)


def test_a_lot_with_older_animals_hides_young_deaths_and_the_most_says_so(sample: Sample) -> None:
    lot, tank, nursery = make_lot(), make_place(), make_place()
    book = sample.book
    book.crossing("received", "2026-06-01", lot, tank, 2)
    book.crossing("born", "2026-07-05", lot, nursery, 9)
    book.event("moved", "2026-07-10", (book.cell(lot, nursery), book.cell(lot, tank), 4))
    book.crossing("died", "2026-07-12", lot, tank, 3)
    book.crossing("died", "2026-07-12", lot, nursery, 1)
    report = _ask(replace(THIRD_QUARTER, by=By.LOT))
    row = _row(report, lot.taxon.scientific_name, label=lot.accession)
    # In the tank two of the three may be the old ones; as the lot's own days do not know the tank,
    # the nursery's one and the lot's two are both true and the greater counts.
    assert (row.change.flows["died_within_30_days"], row.young_most) == (2, 4)
    by_place = _ask(replace(THIRD_QUARTER, by=By.PLACE))
    at_nursery = _row(by_place, lot.taxon.scientific_name, label=nursery.code)
    assert (at_nursery.change.flows["died_within_30_days"], at_nursery.young_most) == (1, 1)


def test_young_regrouped_into_another_lot_count_in_the_most(sample: Sample) -> None:
    hatched, shown, place = make_lot(), make_lot(), make_place()
    book = sample.book
    book.crossing("received", "2026-06-01", shown, place, 5)
    book.crossing("born", "2026-07-05", hatched, place, 9)
    book.event("regrouped", "2026-07-10", (book.cell(hatched, place), book.cell(shown, place), 9))
    book.crossing("died", "2026-07-12", shown, place, 3)
    row = _row(_ask(THIRD_QUARTER), shown.taxon.scientific_name)
    assert (row.change.flows["died_within_30_days"], row.young_most) == (0, 3)


def test_a_reversed_birth_proves_no_young_death(sample: Sample) -> None:
    lot, place = make_lot(), make_place()
    book = sample.book
    book.crossing("received", "2026-06-01", lot, place, 5)
    birth = book.crossing("born", "2026-07-05", lot, place, 9)
    book.crossing("died", "2026-07-12", lot, place, 3)
    book.reversal(birth, "2026-07-20")
    row = _row(_ask(THIRD_QUARTER), lot.taxon.scientific_name)
    assert (row.change.flows["died_within_30_days"], row.young_most) == (0, 0)


# The command


def _csv(*arguments: str) -> tuple[list[str], list[dict[str, str]]]:
    out = StringIO()
    call_command("change", "--from=2026-07-01", "--to=2026-09-30", "--format=csv", *arguments, stdout=out)
    reader = csv.DictReader(StringIO(out.getvalue()))
    return list(reader.fieldnames or ()), list(reader)


# Design, section 5: the columns of `change --format csv`, in this order.
_CONTRACT = [
    *("unit", "opening", "taken", "received", "loan_in", "back_from_loan", "born", "divided", "settled"),
    *("found", "died_within_30_days", "died", "put_down", "released", "sent", "loan_out", "given_back"),
    *("unaccounted", "moved_in", "moved_out", "regrouped_in", "regrouped_out", "late", "closing"),
    *("opening_mfu", "closing_mfu", "missing"),
]


@pytest.mark.parametrize("by", ["taxon", "place", "lot", "source"])
def test_the_csv_has_the_columns_of_the_contract(sample: Sample, by: str) -> None:
    columns, rows = _csv(f"--by={by}")
    assert columns == [*([] if by == "taxon" else [by]), "name", *_CONTRACT]
    assert rows
    for row in rows:
        assert all(row[column].lstrip("-").isdecimal() for column in COLUMNS if "mfu" not in column)


def test_the_basis_follows_known_at_unless_it_is_named(sample: Sample) -> None:
    def late(*arguments: str) -> int:
        return sum(int(row["late"]) for row in _csv(*arguments)[1])

    assert late() == -2
    assert late("--known-at=2026-10-05T09:00") == 0
    assert late("--known-at=2026-10-05T09:00", "--basis=reported") == -2
    assert late("--basis=known") == 0


def test_json_holds_whole_numbers(sample: Sample) -> None:
    out = StringIO()
    call_command("change", "--from=2026-07-01", "--to=2026-09-30", "--format=json", stdout=out)
    (goby,) = [row for row in json.loads(out.getvalue()) if row["name"] == "Gobius niger"]
    assert (goby["opening"], goby["closing"]) == (30, 25)


def test_the_table_has_the_short_form_with_totals_and_the_check(sample: Sample) -> None:
    out = StringIO()
    call_command("change", "--from=2026-07-01", "--to=2026-09-30", stdout=out)
    text = out.getvalue()
    assert "Population change, 1 July 2026 to 30 September 2026" in text
    assert "opening: 2026 Q2 version 1" in text
    assert text.index("unit: animal") < text.index("unit: colony") < text.index("unit: egg case")
    assert "+1 / -4" in text
    assert "Ties: opening + in \N{MINUS SIGN} out + late = closing" in text


def test_bad_usage_exits_with_2(sample: Sample) -> None:
    with pytest.raises(CommandError, match="give the first day first") as wrong:
        call_command("change", "--from=2026-07-01", "--to=2026-06-30")
    assert wrong.value.returncode == 2
    with pytest.raises(CommandError, match="give --out FILE") as no_file:
        call_command("change", "--from=2026-07-01", "--to=2026-09-30", "--format=xlsx")
    assert no_file.value.returncode == 2
    with pytest.raises(CommandError, match="'July' is not a day; expected YYYY-MM-DD"):
        call_command("change", "--from=July", "--to=2026-09-30")
    with pytest.raises(CommandError, match="'noon' is not a moment; expected YYYY-MM-DD"):
        call_command("change", "--from=2026-07-01", "--to=2026-09-30", "--known-at=noon")


@pytest.mark.parametrize(
    ("today", "first", "last"),
    [
        ("2026-10-06", "2026-07-01", "2026-09-30"),
        ("2026-12-31", "2026-07-01", "2026-09-30"),
        ("2027-01-01", "2026-10-01", "2026-12-31"),
        ("2026-03-31", "2025-10-01", "2025-12-31"),
    ],
)
def test_the_last_quarter_is_the_newest_one_that_is_over(today: str, first: str, last: str) -> None:
    found = last_quarter(date.fromisoformat(today))
    assert found == (date.fromisoformat(first), date.fromisoformat(last))


def test_the_default_basis_is_as_reported_unless_a_moment_is_named(sample: Sample) -> None:
    assert default_basis(None) is Basis.REPORTED
    assert default_basis(sample.book.moment("2026-10-01")) is Basis.KNOWN


# Any book at all

_DAYS = st.integers(0, 29)


class AnyBook(TestCase):
    """Random events, late entries and closings: rows tie and periods join, on every basis."""

    @given(
        events=st.lists(
            st.tuples(
                st.sampled_from(["born", "received", "died", "unaccounted", "move", "regroup", "sex"]),
                st.integers(0, 1),
                st.integers(1, 4),
                _DAYS,
                st.integers(0, 25),
            ),
            max_size=14,
        ),
        closings=st.lists(st.tuples(st.sampled_from([0, 1]), st.integers(0, 30)), max_size=3),
        by=st.sampled_from(list(By)),
        basis=st.sampled_from(list(Basis)),
        known=st.none() | st.integers(5, 60),
    )
    def test_rows_tie_and_periods_join(
        self,
        events: Iterable[tuple[str, int, int, int, int]],
        closings: list[tuple[int, int]],
        by: By,
        basis: Basis,
        known: int | None,
    ) -> None:
        book = Book()
        taxa = [make_taxon(), make_taxon()]
        lots, places = [make_lot(taxon=taxon) for taxon in taxa], [make_place(), make_place()]
        start = book.moment("2026-01-01").date()
        for kind, which, n, day, late in events:
            lot, place = lots[which], places[which]
            happened = (start + timedelta(days=day)).isoformat()
            entered = (start + timedelta(days=day + late)).isoformat()
            if kind in ("born", "received", "died", "unaccounted"):
                book.crossing(kind, happened, lot, place, n, entered=entered)
                continue
            ends = {
                "move": (book.cell(lot, places[0]), book.cell(lot, places[1])),
                "regroup": (book.cell(lots[0], place), book.cell(lots[1], place)),
                "sex": (book.cell(lot, place), book.cell(lot, place, "male")),
            }[kind]
            book.event("regrouped" if kind != "move" else "moved", happened, (*ends, n), entered=entered)
        middle = start + timedelta(days=14)
        halves = [(start, middle), (middle + timedelta(days=1), start + timedelta(days=29))]
        periods = [make_period(f"P{i}", str(first), str(last)) for i, (first, last) in enumerate(halves)]
        for half, after in sorted(set(closings), key=lambda closing: closing[1]):
            close_period(
                periods[half],
                closed_at=book.moment(str(halves[half][1] + timedelta(days=1 + after))),
                signed_by=book.person,
                zone=book.zone,
            )
        known_at = None if known is None else book.moment(str(start)) + timedelta(days=known)
        first, second = (
            _ask(Question(*half, by=by, scope=Scope.ALL, basis=basis, known_at=known_at)) for half in halves
        )
        assert not first.untied
        assert not second.untied
        closing = {row.key: row.change.closing_by_sex for row in first.rows}
        opening = {row.key: row.change.opening_by_sex for row in second.rows}
        for key in {*closing, *opening}:
            assert closing.get(key, Change().closing_by_sex) == opening.get(key, Change().opening_by_sex)
