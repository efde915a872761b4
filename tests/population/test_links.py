"""Every figure of a page about populations opens events that add up to it, whatever was asked."""

from dataclasses import replace
from datetime import date, datetime
from urllib.parse import parse_qsl, urlsplit

import pytest
from django.utils.timezone import get_current_timezone

from census.change.forms import FigureForm, QuestionForm
from census.change.queries.behind import behind
from census.population.actions.expect import keep_expectations
from census.population.forms import AskedForm
from census.population.queries.reading import Split, read_course
from census.population.rules.answer import Datum
from census.population.rules.asked import Asked
from census.population.rules.course import added
from census.population.rules.spans import Span
from census.population.writers.methods import METHODS
from census.population.writers.setting import Setting
from inventory.book.rules.scope import Scope
from tests.change.sample import Sample, make_sample
from tests.factories import make_house

pytestmark = pytest.mark.django_db

ZONE = get_current_timezone()
QUARTER = Asked(date(2026, 7, 1), date(2026, 9, 30), date(2026, 10, 6))


@pytest.fixture
def sample() -> Sample:
    """With two gobies that were seen to be wrasses, and an animal that was lost."""
    make_house()
    made = make_sample()
    book, lots, e2 = made.book, made.lots, made.places["E2"]
    book.event("regrouped", "2026-08-05", (book.cell(lots["goby2"], e2), book.cell(lots["wrasse"], e2), 2))
    book.crossing("unaccounted", "2026-09-20", lots["young"], made.places["N1"], 2)
    return made


def _asked(sample: Sample, of: str) -> Asked:
    goby = sample.taxa["goby"].pk
    return {
        "the house": QUARTER,
        "a kind": replace(QUARTER, taxon=goby),
        "a kind in a place": replace(QUARTER, taxon=goby, place=sample.places["E2"].pk),
        "a place": replace(QUARTER, place=sample.places["E2"].pk),
        "a family": replace(QUARTER, family="Gobiidae"),
        "a family in a place": replace(QUARTER, family="Syngnathidae", place=sample.places["N1"].pk),
        "what is ours": replace(QUARTER, scope=Scope.OURS),
        "colonies": replace(QUARTER, unit="colony"),
        "a part of a quarter": replace(QUARTER, taxon=goby, last_day=date(2026, 8, 1)),
        "as known before": replace(
            QUARTER, taxon=goby, known_at=datetime(2026, 8, 25, 12, 0, 30, tzinfo=ZONE)
        ),
    }[of]


WHAT = (
    "the house", "a kind", "a kind in a place", "a place", "a family", "a family in a place", "what is ours",
    "colonies", "a part of a quarter", "as known before",
)  # fmt: skip


def _behind(datum: Datum) -> int:
    asked = dict(parse_qsl(urlsplit(datum.href).query))
    form, figure_form = QuestionForm(asked, today=QUARTER.today), FigureForm(asked)
    assert form.is_valid(), form.errors
    assert figure_form.is_valid(), figure_form.errors
    question = form.cleaned_data["question"]
    figure = figure_form.cleaned_data["figure"]
    return behind(question, figure, figure_form.selection(question.by), zone=ZONE).figure


@pytest.mark.parametrize("of", WHAT)
@pytest.mark.parametrize("name", list(METHODS))
def test_the_events_that_a_figure_opens_add_up_to_it(sample: Sample, name: str, of: str) -> None:
    """Save the least and the most of the young, which are a range; losses stand below zero in a table."""
    keep_expectations(first_day=date(2026, 7, 1), now=datetime(2026, 7, 1, 9, tzinfo=ZONE), zone=ZONE)
    answer = METHODS[name].answer(_asked(sample, of), Setting(ZONE, compares=True))
    ranges = {"least", "most"}
    for section in answer.sections:
        for row in section.table.rows if section.table else ():
            assert section.table is not None
            for (key, _), datum in zip(section.table.columns, row, strict=True):
                if datum.href and isinstance(datum.value, int) and key not in ranges:
                    assert abs(_behind(datum)) == abs(datum.value), (section.title, key, datum)


@pytest.mark.parametrize(("taxon", "column"), [("goby", "regrouped_out"), ("wrasse", "regrouped_in")])
@pytest.mark.parametrize("split", list(Split))
def test_what_was_seen_to_be_another_kind_was_regrouped_and_not_lent(
    sample: Sample, taxon: str, column: str, split: Split
) -> None:
    asked = replace(QUARTER, taxon=sample.taxa[taxon].pk)
    rows = read_course(asked, split, zone=ZONE).rows.values()
    flows = added(rows).flows(Span(QUARTER.first_day, QUARTER.last_day, ""))
    assert (flows["loan_out"], flows["back_from_loan"], flows[column]) == (0, 0, 2)


@pytest.mark.parametrize(("name", "at"), [("trend", 1), ("trend", 2), ("compare", 0)])
def test_a_quarter_of_which_a_part_is_asked_says_so(sample: Sample, name: str, at: int) -> None:
    asked = replace(QUARTER, taxon=sample.taxa["goby"].pk, last_day=date(2026, 8, 1))
    table = METHODS[name].answer(asked, Setting(ZONE, compares=True)).sections[at].table
    assert table is not None
    told = [row[0].value for row in table.rows] if name == "trend" else [words for _, words in table.columns]
    assert told[-2:] == ["2026 Q2", "2026 Q3 (part)"]


def test_of_what_was_known_earlier_the_days_after_are_no_animal_days(sample: Sample) -> None:
    """They had nobody who could have been written down as dead, and made the rate too small."""
    given = {"first_day": "2026-07-01", "known_at": "2026-08-25T23:59"}
    days = []
    for last_day in ("2026-08-25", "2026-09-30"):
        form = AskedForm({**given, "last_day": last_day}, today=QUARTER.today)
        assert form.is_valid()
        table = METHODS["rates"].answer(form.cleaned_data["asked"], Setting(ZONE)).sections[0].table
        assert table is not None
        days.append({(row[0].value, row[1].value, row[4].value) for row in table.rows})
    assert days[0] == days[1]
