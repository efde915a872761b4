"""A layout that is remembered is the one that would be made now."""

from collections.abc import Iterator
from datetime import UTC, date, datetime

import pytest
from django.utils.timezone import get_current_timezone

from census.reports.files.grid import row_of
from census.reports.queries import documents
from census.reports.queries.checked import checked
from census.reports.queries.documents import document_of, question_of
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.document import Document
from census.reports.rules.said import Saying
from census.rounds.models import Census
from inventory.names.models import TaxonName
from inventory.people.models import Person
from tests.change.sample import THIRD_QUARTER, Sample, make_sample
from tests.factories import make_event, make_lot, make_period, make_person
from tests.permits.house import a_take, make_permit_house

from .conftest import OF_THE_HOUSE

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def house() -> Iterator[Sample]:
    """Outside of a transaction, for in one nothing is remembered."""
    documents.forget()
    make_person("Noor")
    yield make_sample()
    documents.forget()


def _asked(layout: str) -> Document:
    return document_of(LAYOUTS[layout], THIRD_QUARTER, Saying(get_current_timezone()))


def _rows(document: Document) -> list[object]:
    return [
        row_of(part, table, line)
        for part in document.parts
        for table in part.tables()
        for line in table.lines
    ]


def _made(layout: str) -> Document:
    return LAYOUTS[layout].answer(THIRD_QUARTER, Saying(get_current_timezone()))


def _enter(house: Sample, happened: str) -> None:
    by = Person.objects.get(name="Noor")
    make_event("found", lot=house.lots["goby"], place=house.places["E1"], happened=happened, entered_by=by)


@pytest.mark.parametrize("layout", OF_THE_HOUSE)
def test_an_entry_after_the_period_leaves_a_layout_as_it_was_and_one_inside_makes_it_anew(
    house: Sample, layout: str
) -> None:
    first = _asked(layout)
    assert checked(first) == []
    _enter(house, "2026-10-01")
    assert _asked(layout) is first
    assert _rows(first) == _rows(_made(layout))
    _enter(house, "2026-09-30")
    again = _asked(layout)
    assert again is not first
    assert _rows(again) == _rows(_made(layout)) != _rows(first)
    assert checked(again) == []


def test_a_new_lot_whose_typed_name_stands_under_an_old_row_is_told(house: Sample) -> None:
    _asked("taxa")
    make_lot(taxon=house.taxa["goby"], verbatim_identification="Gobius typed so")
    assert _rows(_asked("taxa")) == _rows(_made("taxa"))
    lines = [line for table in _asked("taxa").parts[0].tables() for line in table.lines]
    assert "Gobius typed so" in [name for line in lines if line.name for name in line.name.typed]


def test_counts_are_told_beside_the_book_of_their_own_moments_so_a_census_makes_exhibits_anew(
    house: Sample,
) -> None:
    at = datetime(2026, 10, 1, tzinfo=UTC)
    Census.objects.create(
        code="CS-26Q3", period=make_period(), cutoff=at, opened_at=at, opened_by=make_person()
    )
    first = _asked("exhibits")
    _enter(house, "2026-10-01")
    assert _asked("exhibits") is not first
    taxa = _asked("taxa")
    _enter(house, "2026-10-02")
    assert _asked("taxa") is taxa


def test_permits_are_told_anew_above_sources_that_are_remembered(house: Sample) -> None:
    """A take that was let go is written in no event: only the permits know of it."""
    permits = make_permit_house()
    permits.record(a_take("two-spotted goby", 2))
    first = _asked("permits")
    assert _rows(first) == _rows(_made("permits"))
    permits.record(a_take("two-spotted goby", let_go=3), happened="2026-09-02")
    again = _asked("permits")
    assert again.part("sources") is first.part("sources")
    assert _rows(again) == _rows(_made("permits")) != _rows(first)
    assert checked(again) == []
    _enter(house, "2026-09-30")
    later = _asked("permits")
    assert later.part("sources") is not first.part("sources")
    assert _rows(later) == _rows(_made("permits")) != _rows(again)
    assert checked(later) == []
    make_lot(taxon=house.taxa["goby"], verbatim_identification="Gobius typed so")
    assert _rows(_asked("permits")) == _rows(_made("permits"))
    lines = [line for table in _asked("permits").part("sources").tables() for line in table.lines]
    assert "Gobius typed so" in [name for line in lines if line.name for name in line.name.typed]


def test_a_name_that_changed_inside_the_period_is_noted_under_sources_that_are_remembered(
    house: Sample,
) -> None:
    first = _asked("permits")
    for day, words in ((1, "Gobius olim"), (2, "Gobius nunc")):
        since = datetime(2026, 8, day, tzinfo=UTC)
        TaxonName.objects.create(taxon=house.taxa["goby"], scientific_name=words, since=since)
    again = _asked("permits")
    assert any("Gobius olim became Gobius nunc" in note for note in again.notes)
    assert again.notes == _made("permits").notes != first.notes
    assert _rows(again) == _rows(_made("permits"))
    assert _asked("permits").part("sources") is again.part("sources")


def test_a_line_more_on_a_permit_numbers_the_sources_anew(house: Sample) -> None:
    permits = make_permit_house()
    first = _asked("permits")
    permits.record(a_take("Asterias rubens", let_go=1))
    again = _asked("permits")
    assert _rows(again) == _rows(_made("permits"))
    numbers = [line.number for part in again.parts for table in part.tables() for line in table.lines]
    assert numbers == list(range(1, len(numbers) + 1))
    assert len(numbers) == 1 + sum(len(table.lines) for part in first.parts for table in part.tables())


def test_what_does_not_tie_for_one_taxon_is_not_told_of_another(
    house: Sample, monkeypatch: pytest.MonkeyPatch
) -> None:
    saying = Saying(get_current_timezone())
    question, _ = question_of(LAYOUTS["taxon"], {}, today=date(2026, 10, 20))
    goby, other = (
        document_of(LAYOUTS["taxon"], question, saying, name)
        for name in [taxon.scientific_name for taxon in house.taxa.values()][:2]
    )
    monkeypatch.setattr("census.reports.queries.checked.failures", lambda document: [document.title])
    assert [checked(goby), checked(other)] == [[goby.title], [other.title]]
