"""The figures that the demo promises come out of the program; expected ones are read from the fixtures."""

from dataclasses import replace
from datetime import date
from io import StringIO

import pytest
from django.core.management import call_command

from census.change.queries.report import Report, change_report
from census.change.rules.arithmetic import Change
from census.change.rules.question import Basis, By, Question
from census.demo.actions.ledger import drafts_of
from census.demo.actions.preview import figures, promised, running_quarter, settle_and_take_back
from census.demo.actions.settle import settle_all
from census.demo.rules import fixtures
from census.demo.rules.fixtures import ANIMAL, Quarter
from census.rounds.models import Census, Sheet
from census.rounds.queries.first_counts import first_as_compared
from census.rounds.queries.open_items import open_items
from census.rounds.queries.reading import Row, read_census
from census.rounds.rules.accuracy import accuracy_by_class, gains_and_losses, total
from census.rounds.rules.words import MEASURED_UNITS, CensusState
from inventory.book.actions.post import post_events
from inventory.book.models import Event, Flag
from inventory.book.models.flags import FlagKind
from inventory.book.rules.kinds import EventKind
from inventory.book.rules.scope import Scope
from inventory.names.models import CheckState, NameCheck, ReleaseAdoption
from inventory.people.rules.roles import Role

from .conftest import DemoHouse

# What a test writes is taken back after it; the house is built once, around all of them.
pytestmark = pytest.mark.django_db

PROMISED = promised()
QUARTERS = fixtures.read_quarters()
CLOSED = [quarter for quarter in QUARTERS if quarter.closed_at]
RESTATED = [quarter for quarter in CLOSED if quarter.closing_version_2 is not None]
CENSUS_ROWS = fixtures.read_census()


def _report(house: DemoHouse, quarter: Quarter, **asked: object) -> Report:
    question = Question(quarter.starts, quarter.ends, scope=Scope.ALL, **asked)  # type: ignore[arg-type]
    return change_report(question, zone=house.zone)


def _animals(house: DemoHouse, quarter: Quarter, **asked: object) -> Change:
    return _report(house, quarter, **asked).totals[ANIMAL]


def _short(change: Change) -> tuple[int, int, int, int, int, int]:
    """Opening, in, out, found, unaccounted, closing: the columns of the table of closed periods."""
    flows = change.flows
    came = ("taken", "received", "loan_in", "back_from_loan", "born", "divided", "settled")
    left = ("died_within_30_days", "died", "put_down", "released", "sent", "loan_out", "given_back")
    return (
        change.opening,
        sum(flows[column] for column in came),
        sum(flows[column] for column in left),
        flows["found"],
        flows["unaccounted"],
        change.closing,
    )


@pytest.mark.parametrize("quarter", CLOSED, ids=lambda quarter: quarter.code)
def test_each_closed_quarter_is_reported_as_in_the_table(house: DemoHouse, quarter: Quarter) -> None:
    report = _report(house, quarter)
    assert _short(report.totals[ANIMAL]) == (
        quarter.opening,
        quarter.in_,
        quarter.all_out,
        quarter.found,
        quarter.unaccounted,
        quarter.newest_closing,
    )
    assert report.totals[ANIMAL].late == 0
    assert not report.untied


@pytest.mark.parametrize("quarter", CLOSED, ids=lambda quarter: quarter.code)
def test_colonies_stand_at_the_same_number_at_each_closing(house: DemoHouse, quarter: Quarter) -> None:
    assert _report(house, quarter).totals["colony"].closing == PROMISED["colonies"]


@pytest.mark.parametrize("quarter", RESTATED, ids=lambda quarter: quarter.code)
def test_a_restated_quarter_keeps_both_versions(house: DemoHouse, quarter: Quarter) -> None:
    assert quarter.closed_at
    first = quarter.closed_at.replace(tzinfo=house.zone)
    before = _animals(house, quarter, basis=Basis.REPORTED, known_at=first)
    assert (_short(before)[2], before.closing) == (quarter.out, quarter.closing)
    now = _report(house, quarter)
    assert now.closing.version is not None
    assert (now.closing.version.number, now.totals[ANIMAL].closing) == (2, quarter.closing_version_2)


def test_the_closing_of_each_quarter_is_the_opening_of_the_next(house: DemoHouse) -> None:
    for by in (By.TAXON, By.PLACE):
        closings: dict[tuple[object, ...], int] = {}
        for quarter in QUARTERS:
            report = _report(house, quarter, by=by)
            openings = {row.key: row.change.opening for row in report.rows if row.change.opening}
            if closings:
                assert openings == closings, quarter.code
            closings = {row.key: row.change.closing for row in report.rows if row.change.closing}


def test_a_calendar_year_is_its_four_quarters(house: DemoHouse) -> None:
    year = [quarter for quarter in CLOSED if quarter.starts.year == 2025]
    change = change_report(Question(year[0].starts, year[-1].ends, scope=Scope.ALL), zone=house.zone)
    assert _short(change.totals[ANIMAL]) == (
        year[0].opening,
        sum(quarter.in_ for quarter in year),
        sum(quarter.all_out for quarter in year),
        sum(quarter.found for quarter in year),
        sum(quarter.unaccounted for quarter in year),
        year[-1].newest_closing,
    )


@pytest.fixture
def rows(house: DemoHouse) -> list[Row]:
    return read_census(Census.objects.latest("cutoff"))


def test_the_lines_of_the_census_are_as_many_as_promised(rows: list[Row]) -> None:
    measured = [row for row in rows if row.measured]
    assert len(measured) == PROMISED["lines"]
    assert sum(row.counted for row in measured) == PROMISED["lines counted"]


def test_the_lines_inside_tolerance_are_as_many_as_promised(rows: list[Row]) -> None:
    measured = [row for row in rows if row.measured]
    first = total(accuracy_by_class((r.line.count_class, r.first) for r in measured if r.first))
    latest = total(accuracy_by_class((r.line.count_class, r.latest) for r in measured if r.latest))
    assert (first.inside, first.lines) == (
        PROMISED["inside at the first count"],
        PROMISED["counted at the first count"],
    )
    assert (latest.inside, latest.lines) == (
        PROMISED["inside at the latest count"],
        PROMISED["lines counted"],
    )


def test_differences_before_settling_are_net_and_gross_as_promised(rows: list[Row]) -> None:
    """Each basin by itself, with the letter and what was written in and is known by its name."""
    differences = [
        part.latest.value - part.present(part.latest.round)
        for row in rows
        for part in row.parts
        if part.latest is not None and part.latest.value is not None and part.line.unit in MEASURED_UNITS
    ]
    found = gains_and_losses(differences)
    assert found.net == PROMISED["net before settling"]
    assert found.gross == PROMISED["gross before settling"]


def test_the_book_of_each_line_is_that_of_the_fixtures(house: DemoHouse, rows: list[Row]) -> None:
    numbers = house.history.accessions
    parts = {
        (part.line.place.code, frozenset(lot.accession for lot in part.lots)): part
        for row in rows
        for part in row.parts
        if part.lots
    }
    for row in CENSUS_ROWS:
        if row.written_in or row.book_at_count is None:
            continue
        part = parts[row.place, frozenset(numbers[lot] for lot in row.on_the_sheet)]
        assert part.at_end.total == row.book_at_end, row.line
        if part.counts:
            assert part.present(min(part.counts)) == row.book_at_count, row.line
            assert part.counts[max(part.counts)].value == int(row.text["count_2"] or row.text["count_1"])


def test_the_sheets_stand_as_written(house: DemoHouse) -> None:
    code = Census.objects.latest("cutoff").code
    states = dict(Sheet.objects.filter(census__code=code).values_list("number", "state"))
    assert states == {f"{code}-{row['sheet']}": row["state"] for row in fixtures.read_rows("sheets.csv")}
    assert Census.objects.latest("cutoff").state == CensusState.COMPARING


def test_what_was_typed_wrong_first_stays_visible(house: DemoHouse, rows: list[Row]) -> None:
    typed = {
        (row.name, part.typed_before[0].value) for row in rows for part in row.parts if part.typed_before
    }
    assert typed == {
        (row.name, int(row.text["first_typed_1"])) for row in CENSUS_ROWS if row.text["first_typed_1"]
    }


def test_settled_as_expected_the_quarter_closes_with_the_promised_figures(house: DemoHouse) -> None:
    preview = settle_and_take_back(house.history, now=house.now, zone=house.zone)
    got = figures(preview.report)
    assert got == {name: PROMISED[name] for name in got}
    assert not preview.report.untied


def test_looking_at_the_settled_quarter_changes_nothing(house: DemoHouse) -> None:
    before = Event.objects.count(), Census.objects.latest("cutoff").state
    settle_and_take_back(house.history, now=house.now, zone=house.zone)
    assert (Event.objects.count(), Census.objects.latest("cutoff").state) == before


def test_settling_leaves_every_first_count_as_it_was_compared(house: DemoHouse, rows: list[Row]) -> None:
    """What was wrong stays wrong, what was right stays right, whatever the book learns afterwards."""
    compared = {row.line.pk: one for row, one in first_as_compared([r for r in rows if r.measured])}
    assert (sum(one.inside for one in compared.values()), sum(one.counted for one in compared.values())) == (
        PROMISED["inside at the first count"],
        PROMISED["counted at the first count"],
    )
    census = settle_all(house.history, now=house.now, zone=house.zone)
    after = {
        row.line.pk: one for row, one in first_as_compared([r for r in read_census(census) if r.measured])
    }
    assert {pk: after[pk] for pk, one in compared.items() if one.counted} == {
        pk: one for pk, one in compared.items() if one.counted
    }


@pytest.fixture
def settled(house: DemoHouse) -> Census:
    return settle_all(house.history, now=house.now, zone=house.zone)


def test_each_case_ends_as_expected(house: DemoHouse, settled: Census) -> None:
    report = _report(house, QUARTERS[-1], by=By.PLACE)
    for row in fixtures.read_rows("settled.csv"):
        changes = [
            r.change
            for r in report.rows
            if (r.label, r.taxon.scientific_name) == (row["place"], row["name"]) and r.unit != "egg case"
        ]
        got = (sum(c.closing for c in changes), sum(c.missing for c in changes))
        assert got == (int(row["total"]), int(row["missing"])), f"{row['case']} {row['name']} {row['place']}"


def test_animals_held_by_the_borrower_are_as_many_as_promised(house: DemoHouse, settled: Census) -> None:
    report = _report(house, QUARTERS[-1], by=By.PLACE)
    held = sum(row.change.closing for row in report.rows if row.label == "LO")
    assert held == PROMISED["held by Penlarrow Sea Hall"]


def test_moves_and_regroups_are_zero_over_the_house(house: DemoHouse, settled: Census) -> None:
    for by in By:
        totals = _report(house, QUARTERS[-1], by=by).totals[ANIMAL].flows
        assert totals["moved_in"] == totals["moved_out"]
        assert totals["regrouped_in"] == totals["regrouped_out"]


def test_the_settled_census_is_signed_with_nothing_open_and_the_book_verified(
    house: DemoHouse, settled: Census
) -> None:
    assert settled.state == CensusState.CLOSED
    assert open_items(settled, read_census(settled)) == []
    call_command("verify", stdout=StringIO(), stderr=StringIO())


def test_a_late_entry_leaves_the_reported_quarter_and_lowers_the_known_one(house: DemoHouse) -> None:
    slips = drafts_of(fixtures.read_slips(), house.history.accessions, house.zone)
    post_events(slips, now=house.now, zone=house.zone)
    second, third = QUARTERS[-2], QUARTERS[-1]
    assert _animals(house, second).closing == PROMISED["second quarter as reported"]
    assert _animals(house, second, basis=Basis.KNOWN).closing == PROMISED["second quarter as known"]
    reported = _animals(house, third)
    assert (reported.opening, reported.late) == (PROMISED["opening"], PROMISED["late"])
    known = _animals(house, third, basis=Basis.KNOWN)
    assert (known.opening, known.late) == (PROMISED["second quarter as known"], 0)
    assert known.closing == reported.closing


def test_the_half_counted_house_is_verified_clean(house: DemoHouse) -> None:
    call_command("verify", stdout=StringIO(), stderr=StringIO())


def test_what_needs_attention_is_the_balance_below_zero(house: DemoHouse) -> None:
    expected = {(row.place, row.name) for row in CENSUS_ROWS if (row.book_at_end or 0) < 0}
    flags = Flag.objects.filter(settled_at=None).select_related("lot__taxon", "place")
    assert {flag.kind for flag in flags} == {FlagKind.BELOW_ZERO}
    assert {(f.place.code, f.lot.taxon.scientific_name) for f in flags if f.place and f.lot} == expected


def test_the_edit_without_reason_or_approval_stands_in_the_book_as_what_it_is(house: DemoHouse) -> None:
    edits = Event.objects.filter(kind=EventKind.UNACCOUNTED, reason="", approved_by=None)
    assert [edit.flows.get().n for edit in edits] == [-sum(row.edited for row in CENSUS_ROWS)]
    assert edits.get().entered_by.name == "Spreadsheet import"


def test_names_that_nobody_has_decided_wait_in_the_queue(house: DemoHouse) -> None:
    written = fixtures.read_rows("names_to_review.csv")
    waiting = NameCheck.objects.filter(state=CheckState.TO_REVIEW)
    assert {check.typed for check in waiting} == {row["name"] for row in written if not row["decision"]}
    # The names that followed the release of January 2026 are rows of the queue too, and decided.
    typed = NameCheck.objects.filter(adopted_changes=None)
    assert typed.count() == len(written)


def test_the_release_of_january_renamed_three_animals_and_old_closings_keep_their_names(
    house: DemoHouse,
) -> None:
    adoption = ReleaseAdoption.objects.get(by__isnull=False)
    assert (adoption.by and adoption.by.name, adoption.counts) == (
        "Maren Tolvsund", {"moved_genus": 2, "status_changed": 1},
    )  # fmt: skip
    pairs = [(row["old_name"], row["new_name"]) for row in fixtures.read_rows("renamed_2026.csv")]
    changes = adoption.changes.all()
    assert {(c.before["scientific_name"], c.after["scientific_name"]) for c in changes} == set(pairs)
    question = Question(date(2025, 4, 1), date(2025, 6, 30))
    now, then = (change_report(replace(question, names=names), zone=house.zone) for names in ("", "closing"))
    assert now.totals == then.totals
    for old_name, new_name in pairs:
        assert new_name in {row.taxon.scientific_name for row in now.rows}
        assert old_name in {row.taxon.scientific_name for row in then.rows}


def test_there_is_a_sign_in_for_each_role(house: DemoHouse) -> None:
    assert {role for sign_in in house.sign_ins for role in sign_in.roles} == {role.value for role in Role}
    assert all(len(sign_in.password) >= 12 for sign_in in house.sign_ins)


def test_every_taxon_has_its_class_from_the_backbone(house: DemoHouse) -> None:
    report = change_report(running_quarter(), zone=house.zone)
    assert [row.taxon.scientific_name for row in report.rows if not row.taxon.phylum] == []


def test_the_opening_stock_names_a_source_that_lasts(house: DemoHouse) -> None:
    typed = NameCheck.objects.order_by("id").values_list("where_from", flat=True)
    assert typed[0] == "opening-stock"
    evidence = Event.objects.filter(kind=EventKind.OPENING).values_list("evidence", flat=True)
    assert {text.partition(",")[0] for text in evidence} == {"opening-stock"}
