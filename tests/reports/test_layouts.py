"""The layouts by exhibit, by period and of the year: their figures, their sums, and what is behind them."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from django.utils.timezone import get_current_timezone

from census.change.forms import QuestionForm
from census.change.queries.behind import Selection, behind
from census.change.queries.report import change_report
from census.change.rules.question import Basis, By, Question
from census.reports.queries.annex import annex
from census.reports.rules.checking import failures
from census.reports.rules.document import Document, Figure, Kind, Line
from census.reports.rules.said import Saying
from inventory.book.rules.scope import Scope
from tests.change.sample import THIRD_QUARTER, Sample
from tests.factories import make_event, make_house, make_lot, make_place, make_reversal, make_taxon

from .conftest import OF_THE_HOUSE, answered

pytestmark = pytest.mark.django_db


def lines_of(document: Document, part: str) -> list[tuple[str, Line]]:
    """(unit, line) of every line of a part."""
    return [(table.unit, line) for table in document.part(part).tables() for line in table.lines]


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
@pytest.mark.parametrize("scope", list(Scope))
@pytest.mark.parametrize("basis", list(Basis))
def test_every_layout_ties(sample: Sample, layout: str, scope: Scope, basis: Basis) -> None:
    document = answered(layout, replace(THIRD_QUARTER, scope=scope, basis=basis))
    assert failures(document) == []
    _columns_are_what_the_lines_show(document)


def _columns_are_what_the_lines_show(document: Document) -> None:
    """For whole columns are what is checked."""
    for part in document.parts:
        for table in part.tables():
            columns = table.numbers() if table.numbers else {}
            shown = {
                column.key: [line.figures[column.key].number for line in table.lines]
                for column in part.columns
                if table.numbers and column.kind in (Kind.NUMBER, Kind.SIGNED)
            }
            nothing = [0] * len(table.lines)
            assert {key: columns[key].tolist() if key in columns else nothing for key in shown} == shown


@pytest.mark.parametrize("scope", list(Scope))
@pytest.mark.parametrize("basis", list(Basis))
def test_every_source_is_checked_in_whole_columns(sample: Sample, scope: Scope, basis: Basis) -> None:
    document = answered("permits", replace(THIRD_QUARTER, scope=scope, basis=basis))
    tables = list(document.part("sources").tables())
    assert tables
    assert all(table.numbers for table in tables)
    assert failures(document) == []
    _columns_are_what_the_lines_show(document)


def _figures(document: Document) -> list[tuple[str, Figure]]:
    found = []
    for part in document.parts:
        for table in part.tables():
            for figures in (*(line.figures for line in table.lines), table.total):
                found += [(column.key, figures[column.key]) for column in part.columns]
    return [(key, figure) for key, figure in found if figure.asked]


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
@pytest.mark.parametrize("scope", [Scope.HERE, Scope.ALL])
def test_the_events_behind_every_figure_add_up_to_it(sample: Sample, layout: str, scope: Scope) -> None:
    figures = _figures(answered(layout, replace(THIRD_QUARTER, scope=scope)))
    assert len(figures) > 20
    for key, figure in figures:
        asked = dict(figure.asked or {})
        question = Question(
            first_day=THIRD_QUARTER.first_day.fromisoformat(asked["first_day"]),
            last_day=THIRD_QUARTER.first_day.fromisoformat(asked["last_day"]),
            by=By(asked["by"]),
            scope=Scope(asked["scope"]),
            basis=Basis(asked["basis"]),
        )
        group: int | str | None = asked.get("group")
        selection = Selection(
            asked["unit"],
            int(asked["taxon"]) if "taxon" in asked else None,
            int(group) if group and question.by is By.PLACE else group,
            int(asked["other"]) if "other" in asked else None,
        )
        found = behind(question, asked["figure"], selection, zone=get_current_timezone())
        if isinstance(figure.value, int):
            assert found.figure == figure.value, (key, asked)


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
@pytest.mark.parametrize(
    ("known", "said"),
    [
        (datetime(2026, 10, 6, 8, 10, tzinfo=UTC), "2026-10-06T09:10"),
        (datetime(2026, 10, 6, 8, 10, 30, 250, tzinfo=UTC), "2026-10-06T09:10:30.000250"),
        # The clocks go back at 01:00 UTC: half past one comes twice.
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "2026-10-25T01:30:00+01:00"),
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "2026-10-25T01:30:00+00:00"),
    ],
)
def test_a_figure_opens_its_events_as_known_at_the_same_moment_to_the_second(
    sample: Sample, layout: str, known: datetime, said: str
) -> None:
    asked = replace(THIRD_QUARTER, basis=Basis.KNOWN, known_at=known)
    figures = _figures(answered(layout, asked))
    assert {dict(figure.asked or {})["known_at"] for _, figure in figures} == {said}
    form = QuestionForm(dict(figures[0][1].asked or {}), today=date(2026, 11, 1))
    assert form.is_valid()
    assert form.cleaned_data["question"].known_at == known


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_a_figure_that_is_a_number_and_not_zero_opens_its_events(sample: Sample, layout: str) -> None:
    """Save what is made of two figures which both open theirs, and counts, which are no events."""
    for part in answered(layout).parts:
        made = {"count", "difference", "young_most"}
        made |= {column.key for column in part.columns if column.key.endswith(" change")}
        made |= {column.key for column in part.columns if column.key.startswith("later")}
        for table in part.tables():
            for line in table.lines:
                for key, figure in line.figures.items():
                    if figure.number and key not in made:
                        assert figure.asked, (part.key, line.number, key)


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_the_annex_leads_from_each_line_s_opening_to_its_closing(sample: Sample, layout: str) -> None:
    document = answered(layout)
    entries = annex(document.questions, saying=Saying(get_current_timezone()))
    part = document.parts[0]
    last = document.parts[0].columns[-3].key if layout == "periods" else "closing"
    for _, line in lines_of(document, part.key):
        figures = line.figures
        # What is loaded as opening inside the period is part of the opening, and is told all the same.
        told = sum(one.n for one in entries.get(line.annex, []) if one.column != "opening")
        assert figures["opening"].number + told == figures[last].number, line.name


def test_a_place_s_block_has_the_figures_of_the_change_by_place(sample: Sample) -> None:
    document = answered("exhibits")
    rows = change_report(replace(THIRD_QUARTER, by=By.PLACE), zone=get_current_timezone()).rows
    by_row = {line.annex: line.figures for _, line in lines_of(document, "places")}
    assert by_row.keys() == {tuple(row.key) for row in rows}
    for row in rows:
        figures = by_row[tuple(row.key)]
        assert figures["closing"].value == row.change.closing
        assert figures["moved_in"].value == row.change.flows["moved_in"]
        assert figures["closing_mfu"].value == row.change.closing_mfu


def test_a_period_without_a_census_has_no_columns_of_counts(sample: Sample) -> None:
    document = answered("exhibits")
    assert dict(document.head)["census"] == "none of this period: no counts are shown"
    keys = [column.key for column in document.part("places").columns]
    assert keys[-1] == "missing"
    assert not {"count", "count_status", "difference", "reason"} & set(keys)


def test_the_matrix_has_the_six_gobies_that_went_from_the_first_exhibit_to_the_second(sample: Sample) -> None:
    document = answered("exhibits")
    e1, e2 = (sample.places[code].pk for code in ("E1", "E2"))
    ((unit, line),) = lines_of(document, "moves")
    assert (unit, line.label) == ("animal", "E1")
    assert (line.figures[f"to {e2}"].value, line.figures[f"to {e1}"].value) == (6, 0)
    assert line.figures["moved_out"].value == 6


def test_the_quarters_follow_each_other(sample: Sample) -> None:
    year = replace(THIRD_QUARTER, first_day=THIRD_QUARTER.first_day.replace(month=1))
    document = answered("periods", year)
    assert [column.heading for column in document.part("numbers").columns if not column.under] == [
        "held before 2026 Q1", "2026 Q1", "2026 Q2", "2026 Q3",
    ]  # fmt: skip
    gobies = next(
        line.figures
        for unit, line in lines_of(document, "numbers")
        if line.name and line.name.accepted == "Gobius niger" and unit == "animal"
    )
    assert [gobies[key].value for key in ("2026 Q1", "2026 Q2", "2026 Q3")] == [20, 30, 25]
    assert gobies["2026 Q3 change"].value == -5


def test_the_scopes_in_the_head_of_the_quarters_begin_with_the_first_and_end_with_the_last(
    sample: Sample,
) -> None:
    last = dict(answered("taxa").head)["scopes, animal"]
    first_day = THIRD_QUARTER.first_day
    before = replace(
        THIRD_QUARTER, first_day=first_day.replace(month=1), last_day=first_day.replace(month=3, day=31)
    )
    first = dict(answered("taxa", before).head)["scopes, animal"]
    year = dict(answered("periods", replace(before, last_day=THIRD_QUARTER.last_day)).head)["scopes, animal"]
    assert first.split("; ")[0] != last.split("; ")[0]
    assert year.split("; ") == [first.split("; ")[0], last.split("; ")[1]]


def test_a_year_is_the_sum_of_its_quarters_and_of_what_was_entered_late(sample: Sample) -> None:
    """Two deaths of June come in after the second quarter is closed: late there, died in the year."""
    year = replace(THIRD_QUARTER, first_day=THIRD_QUARTER.first_day.replace(month=1))
    year = replace(year, last_day=year.last_day.replace(month=12, day=31))
    document = answered("periods", year)
    assert failures(document) == []
    flows = {line.label: line.figures for unit, line in lines_of(document, "flows") if unit == "animal"}
    assert flows["died"]["later 2026"].value == 2
    late = flows["late from earlier period (net)"]
    assert (late["2026 Q3"].value, late["later 2026"].value, late["year 2026"].value) == (-2, 2, 0)
    assert flows["opening"]["year 2026"].value == flows["opening"]["2026 Q1"].value


def test_own_animals_and_those_of_others_stand_apart_in_the_stock_list(sample: Sample) -> None:
    document = answered("stock-list", replace(THIRD_QUARTER, scope=Scope.ALL))
    seahorses = {
        line.label: line.figures
        for _, line in lines_of(document, "list")
        if line.name and line.name.accepted == "Hippocampus guttulatus"
    }
    assert seahorses.keys() == {"own", "on loan to the house: Far Sea Centre"}
    assert seahorses["on loan to the house: Far Sea Centre"]["heading left"].value == 1
    shark = next(
        line.figures
        for unit, line in lines_of(document, "list")
        if line.name and line.name.accepted == "Scyliorhinus canicula" and unit == "animal"
    )
    assert (shark["closing"].value, shark["elsewhere"].value) == (8, 2)


def test_the_sexes_of_what_came_and_went_stand_beside_the_numbers(sample: Sample) -> None:
    wrasse = next(
        line.figures
        for _, line in lines_of(answered("stock-list"), "list")
        if line.name and line.name.accepted == "Labrus mixtus"
    )
    assert (wrasse["opening_mfu"].value, wrasse["closing_mfu"].value) == ("2.5.0", "3.3.0")
    assert (wrasse["heading died"].value, wrasse["heading died m.f.u"].value) == (1, "0.1.0")


def test_a_move_that_was_entered_before_its_animals_is_in_the_report_by_exhibit(db: None) -> None:
    """The house by taxon holds none and has no row then; the places hold one less and one more."""
    make_house()
    lot, places = make_lot(), [make_place("E1"), make_place("E2")]
    first = make_event("received", lot=lot, place=places[0], happened="2026-08-01")
    make_event("moved", lot=lot, place=places[0], to_place=places[1], happened="2026-08-02")
    make_reversal(first)
    document = answered("exhibits")
    assert failures(document) == []
    closings = {line.label: line.figures["closing"].number for _, line in lines_of(document, "places")}
    assert closings == {"E1": -1, "E2": 1}


def test_an_animal_that_changed_hands_before_it_was_entered_is_in_the_stock_list(db: None) -> None:
    make_house()
    taxon, place = make_taxon(), make_place("E1")
    own, lent = make_lot(taxon=taxon), make_lot(taxon=taxon, owner="Far Sea Centre")
    first = make_event("received", lot=own, place=place, happened="2026-08-01")
    make_event("regrouped", lot=own, place=place, to_lot=lent, happened="2026-08-02")
    make_reversal(first)
    document = answered("stock-list")
    assert failures(document) == []
    closings = {line.label: line.figures["closing"].number for _, line in lines_of(document, "list")}
    assert closings == {"own": -1, "on loan to the house: Far Sea Centre": 1}
