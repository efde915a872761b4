"""What was written in, and what the registrar finds it to be."""

import pytest

from census.rounds.actions.compare import compare_counts
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.actions.refused import CensusRefused
from census.rounds.actions.sheets import hand_in
from census.rounds.actions.written_in import Found, find_write_in
from census.rounds.models import Census, Line, Notice, Sheet, WriteInFinding
from census.rounds.queries.reading import Row, read_census
from census.rounds.rules.words import FoundAs, LineKind, LineState
from inventory.book.models import Lot
from inventory.names.models import Taxon
from inventory.people.models import Person
from tests import factories

from .house import COUNTED, HELD, NOW, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db


def written(
    house: TestHouse, name: str, n: int, *, fewer: dict[str, int] | None = None
) -> tuple[Census, Line]:
    """A compared census with one animal written in on the sheet of K1."""
    census = house.opened_and_issued()
    house.count(census, {**HELD, **(fewer or {})})
    sheet = census.sheets.get(place=house.places["K1"])
    entry = Entry(line=0, written_name=name, counted_at=COUNTED, counter=house.first, value=n)
    take_counts(sheet=sheet, entries=[entry], by=house.first, now=COUNTED)
    for one in census.sheets.all():
        hand_in(sheet=Sheet.objects.get(pk=one.pk), by=house.first, now=at("2026-10-01T09:00"))
    compare_counts(census=census, by=house.registrar, now=at("2026-10-01T10:00"))
    return census, Line.objects.get(kind=LineKind.WRITE_IN)


def find(house: TestHouse, line: Line, found: Found, **names: Person) -> WriteInFinding:
    return find_write_in(line=line, found=found, by=house.registrar, now=NOW, zone=ZONE, **names)


def row_of(census: Census, line: Line) -> Row:
    return next(row for row in read_census(census) if row.line.pk == line.pk)


def star() -> Taxon:
    return factories.make_taxon("Asterina gibbosa", count_class="B")


def test_a_write_in_changes_nothing_until_the_registrar_decides(house: TestHouse) -> None:
    census, line = written(house, "cushion star", 3)
    assert row_of(census, line).needs_settling
    assert not Lot.objects.filter(taxon__scientific_name="Asterina gibbosa").exists()


@pytest.mark.parametrize(("found_as", "kind"), [(FoundAs.SETTLED, "settled"), (FoundAs.CAME_WITH, "found")])
def test_what_came_by_itself_joins_the_stock_at_the_count_moment(
    house: TestHouse, found_as: FoundAs, kind: str
) -> None:
    census, line = written(house, "cushion star", 3)
    finding = find(house, line, Found(found_as, taxon=star()))
    assert finding.event is not None
    assert finding.lot is not None
    finding.lot.refresh_from_db()
    assert (finding.event.kind, finding.lot.held) == (kind, 3)
    assert finding.event.effective_at == COUNTED
    row = row_of(census, line)
    assert (row.state, row.name) == (LineState.SETTLED, "Asterina gibbosa")
    assert row.latest is not None
    assert (row.latest.book, row.latest.count) == (3, 3)


def test_many_that_came_need_the_curator_like_any_adjustment(house: TestHouse) -> None:
    _, line = written(house, "cushion star", 30)
    found = Found(FoundAs.SETTLED, taxon=star())
    with pytest.raises(CensusRefused, match="curator's approval is needed: 30 is above"):
        find(house, line, found)
    assert not Lot.objects.filter(taxon__scientific_name="Asterina gibbosa").exists()
    assert find(house, line, found, approved_by=house.curator).event is not None


def test_they_join_a_lot_that_is_there_when_it_is_named(house: TestHouse) -> None:
    census, line = written(house, "goby", 2)
    goby = house.lots["wrasse q"]
    finding = find(house, line, Found(FoundAs.CAME_WITH, taxon=goby.taxon, accession=goby.accession))
    assert finding.lot == goby
    goby.refresh_from_db()
    assert goby.held == 8
    assert row_of(census, line).state is LineState.SETTLED
    with pytest.raises(CensusRefused, match="there is no lot nowhere"):
        find(house, line, Found(FoundAs.CAME_WITH, taxon=goby.taxon, accession="nowhere"))


def test_an_unrecorded_move_settles_the_line_it_left_and_the_write_in(house: TestHouse) -> None:
    census, line = written(house, "wrasse, small", 2, fewer={"wrasse q": 4})
    left = house.line(census, "wrasse q")
    finding = find(house, line, Found(FoundAs.MOVED, other_line=left, happened="2026-09-20"))
    assert finding.event is not None
    assert (finding.event.kind, finding.event.happened) == ("moved", "2026-09-20")
    assert row_of(census, left).state is LineState.SETTLED
    assert row_of(census, line).state is LineState.SETTLED


def test_the_same_animal_under_another_name_is_noted_and_counted_once(house: TestHouse) -> None:
    census, line = written(house, "black goby", 11)
    before = Lot.objects.count()
    finding = find(house, line, Found(FoundAs.OTHER_NAME, other_line=house.line(census, "goby")))
    assert (finding.event, Lot.objects.count()) == (None, before)
    row = row_of(census, line)
    assert row.state is LineState.SETTLED
    assert row.decision is not None
    assert row.decision.evidence == f"already on {house.line(census, 'goby')}"


def test_an_introduced_species_is_no_stock_and_the_permit_officer_is_told(house: TestHouse) -> None:
    census, line = written(house, "Pacific oyster", 1)
    oyster = factories.make_taxon("Magallana gigas")
    assert find(house, line, Found(FoundAs.INTRODUCED, taxon=oyster)).event is None
    notice = Notice.objects.get()
    assert (notice.role, notice.kind, notice.line) == ("permit_officer", "introduced", line)
    assert "Introduced species in K1: Magallana gigas" in notice.words
    assert not Lot.objects.filter(taxon=oyster).exists()
    assert row_of(census, line).state is LineState.SETTLED


@pytest.mark.parametrize(
    ("found", "told"),
    [
        (Found(FoundAs.SETTLED), "say what it is"),
        (Found(FoundAs.OTHER_NAME), "name the line that has it under its name"),
        (Found(FoundAs.MOVED, happened="2026-09-20"), "name the line that it left"),
    ],
)
def test_what_is_missing_is_asked_for(house: TestHouse, found: Found, told: str) -> None:
    _, line = written(house, "cushion star", 3)
    with pytest.raises(CensusRefused, match=told):
        find(house, line, found)


def test_only_what_was_written_in_is_found_and_only_by_who_decides(house: TestHouse) -> None:
    census, line = written(house, "cushion star", 3)
    with pytest.raises(CensusRefused, match="stands on the list"):
        find(house, house.line(census, "goby"), Found(FoundAs.INTRODUCED))
    with pytest.raises(CensusRefused, match="may not decide what was written in"):
        find_write_in(line=line, found=Found(FoundAs.INTRODUCED), by=house.first, now=NOW, zone=ZONE)
