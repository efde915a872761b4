"""Taking counts: many lines at once, blank is not zero, the same again changes nothing."""

from dataclasses import replace
from typing import Any

import pytest
from django import forms
from django.db import IntegrityError, connection, transaction

from census.rounds.actions.counts import Entry, Taken, take_counts
from census.rounds.actions.recounts import ask_recount
from census.rounds.actions.refused import CensusRefused
from census.rounds.forms import RecountForm
from census.rounds.models import Census, Count, Line, Recount, Sheet, Sighting
from census.rounds.queries.reading import read_census
from census.rounds.rules.words import LineKind, LineState, Seen, SheetState, Verdict
from tests import factories

from .house import COUNTED, NOW, RECOUNTED, TestHouse, at

pytestmark = pytest.mark.django_db


@pytest.fixture
def sheet(house: TestHouse) -> Sheet:
    """The first sheet: 1 herring, 2 conger, 3 goby, 4 corkwing, 5 bib, 6 poor cod."""
    return house.opened_and_issued("K1", "K2").sheets.get(number="CS-26Q3-01")


def entry(house: TestHouse, line: int, value: int | None = None, **more: Any) -> Entry:
    return replace(Entry(line=line, counted_at=COUNTED, counter=house.first, value=value), **more)


def take(house: TestHouse, sheet: Sheet, *entries: Entry, round: int = 1) -> Taken:
    return take_counts(sheet=sheet, entries=entries, by=house.first, now=NOW, round=round)


def test_many_lines_are_taken_at_once_and_the_sheet_is_started(house: TestHouse, sheet: Sheet) -> None:
    taken = take(house, sheet, entry(house, 3, 11), entry(house, 4, 18), entry(house, 5))
    assert taken == Taken(new=2, replaced=0, same=0, blank=1)
    sheet.refresh_from_db()
    assert sheet.state == SheetState.STARTED
    assert Census.objects.get().state == "counting"


def test_blank_is_not_counted_and_zero_is_a_count(house: TestHouse, sheet: Sheet) -> None:
    take(house, sheet, entry(house, 3, 0), entry(house, 4))
    assert house.row(sheet.census, "goby").state is LineState.OUTSIDE
    assert house.row(sheet.census, "wrasse").state is LineState.NOT_COUNTED


def test_the_same_counts_again_change_nothing(house: TestHouse, sheet: Sheet) -> None:
    entries = [entry(house, 3, 11), entry(house, 2, seen={house.lots["conger"].accession: Seen.SEEN})]
    take(house, sheet, *entries)
    again = take(house, sheet, *entries)
    assert again == Taken(new=0, replaced=0, same=2, blank=0)
    assert Count.objects.count() == 2


def test_typing_again_replaces_and_keeps_what_was_typed_first(house: TestHouse, sheet: Sheet) -> None:
    take(house, sheet, entry(house, 1, 17))
    assert take(house, sheet, entry(house, 1, 71)).replaced == 1
    assert take(house, sheet, entry(house, 1, 420)).replaced == 1
    row = house.row(sheet.census, "shoal")
    assert row.latest is not None
    assert row.latest.count == 420
    assert [count.value for count in row.parts[0].typed_before] == [17, 71]


def test_nothing_is_taken_when_one_line_is_wrong_and_every_problem_is_told(
    house: TestHouse, sheet: Sheet
) -> None:
    with pytest.raises(CensusRefused) as refused:
        take(
            house,
            sheet,
            entry(house, 3, 11),
            entry(house, 99, 1),
            entry(house, 4, letter="C"),
            entry(house, 5, 3, sexes=(1, 1, 0, 0)),
            entry(house, 6, 5, low=6, high=9),
            entry(house, 1, 5, counted_at=at("2026-12-01T10:00")),
            entry(house, 0, 5),
        )
    assert not Count.objects.exists()
    told = "\n".join(refused.value.problems)
    for part in ("no line 99", "class D only", "add up to 2", "6 to 9", "future", "needs a name"):
        assert part in told


def test_one_line_given_twice_is_refused(house: TestHouse, sheet: Sheet) -> None:
    with pytest.raises(CensusRefused, match="more than once"):
        take(house, sheet, entry(house, 3, 11), entry(house, 3, 12))


def test_a_sheet_that_was_not_issued_takes_no_counts(house: TestHouse) -> None:
    sheet = house.open("K1").sheets.get()
    with pytest.raises(CensusRefused, match="not been issued"):
        take(house, sheet, entry(house, 3, 11))


def test_the_roll_call_counts_who_was_seen(house: TestHouse, sheet: Sheet) -> None:
    seen = {house.lots["conger"].accession: Seen.NOT_SEEN, house.lots["hawser"].accession: Seen.SEEN}
    take(house, sheet, entry(house, 2, seen=seen))
    assert Count.objects.get().value == 1
    assert Sighting.objects.get(lot=house.lots["conger"]).seen == Seen.NOT_SEEN
    with pytest.raises(CensusRefused, match="not on this line"):
        take(house, sheet, entry(house, 2, seen={house.lots["ray"].accession: Seen.SEEN}))


def test_sexes_add_up_to_the_count_when_no_number_is_written(house: TestHouse, sheet: Sheet) -> None:
    take(house, sheet, entry(house, 4, sexes=(5, 12, 0, 1)))
    count = Count.objects.get()
    assert (count.value, count.males, count.unknown) == (18, 5, 1)


def test_an_animal_not_on_the_list_is_written_in_and_leaves_the_book_alone(
    house: TestHouse, sheet: Sheet
) -> None:
    written = entry(house, 0, 3, written_name="Styela clava")
    take(house, sheet, written)
    take(house, sheet, written)
    line = Line.objects.get(kind=LineKind.WRITE_IN)
    assert (line.number, line.written_name, line.count_class) == (7, "Styela clava", "")
    row = next(row for row in read_census(sheet.census) if row.line == line)
    assert row.latest is not None
    assert (row.latest.book, row.latest.difference, row.measured) == (0, 3, False)
    assert row.needs_settling


def test_a_minimum_count_proves_no_loss(house: TestHouse, sheet: Sheet) -> None:
    take(house, sheet, entry(house, 1, 22, at_least=True))
    row = house.row(sheet.census, "shoal")
    assert row.latest is not None
    assert row.latest.verdict is Verdict.MINIMUM
    assert not row.needs_settling


def test_the_book_is_taken_at_the_minute_of_the_count(house: TestHouse, sheet: Sheet) -> None:
    for happened in ("2026-09-29T10:00", "2026-09-29T10:01"):
        factories.make_event(
            "died", lot=house.lots["goby"], place="K1", happened=happened, entered_by=house.registrar
        )
    take(house, sheet, entry(house, 3, 10))
    row = house.row(sheet.census, "goby")
    assert row.latest is not None
    assert (row.latest.book, row.latest.difference) == (10, 0)


def test_a_recount_is_made_by_another_person_and_only_when_asked(house: TestHouse, sheet: Sheet) -> None:
    take(house, sheet, entry(house, 3, 6))
    second = Entry(line=3, counted_at=RECOUNTED, counter=house.second, value=6)
    with pytest.raises(CensusRefused, match="no count 2 was asked for"):
        take(house, sheet, second, round=2)
    line = house.line(sheet.census, "goby")
    with pytest.raises(CensusRefused, match="another person recounts"):
        ask_recount(lines=[line], of=house.first, by=house.registrar, now=NOW)
    ask_recount(lines=[line], of=house.second, by=house.registrar, now=NOW)
    assert house.row(sheet.census, "goby").state is LineState.RECOUNT
    with pytest.raises(CensusRefused, match="another person recounts"):
        take(house, sheet, replace(second, counter=house.first), round=2)
    take(house, sheet, second, round=2)
    row = house.row(sheet.census, "goby")
    assert row.confirmed
    assert row.state is LineState.CONFIRMED


def test_a_recount_is_asked_of_nobody_who_could_not_count(house: TestHouse, sheet: Sheet) -> None:
    take(house, sheet, entry(house, 3, 6))
    inspector = factories.make_person("Ruth", roles=["inspector"])
    with pytest.raises(CensusRefused, match="Ruth may not count again: it is for the role counter, aquarist"):
        ask_recount(lines=[house.line(sheet.census, "goby")], of=inspector, by=house.registrar, now=NOW)
    assert not Recount.objects.exists()
    offered = RecountForm().fields["of"]
    assert isinstance(offered, forms.ModelChoiceField)
    assert offered.queryset is not None
    assert set(offered.queryset) == {house.registrar, house.curator, house.first, house.second}


def test_asking_the_same_recount_again_changes_nothing(house: TestHouse, sheet: Sheet) -> None:
    take(house, sheet, entry(house, 3, 6))
    line = house.line(sheet.census, "goby")
    for _ in range(2):
        ask_recount(lines=[line], of=house.second, by=house.registrar, now=NOW)
    recount = Recount.objects.get()
    assert recount.round == 2
    assert (recount.due_at - recount.asked_at).total_seconds() == 72 * 3600


def test_there_are_at_most_three_counts_in_one_census(house: TestHouse, sheet: Sheet) -> None:
    line = house.line(sheet.census, "goby")
    with pytest.raises(CensusRefused, match="open query"):
        ask_recount(lines=[line], of=house.second, by=house.registrar, now=NOW, round=4)


def test_the_first_count_stays_visible_beside_the_second(house: TestHouse, sheet: Sheet) -> None:
    take(house, sheet, entry(house, 4, 24))
    house.count(sheet.census, {"wrasse": 18}, round=2)
    row = house.row(sheet.census, "wrasse")
    assert row.first is not None
    assert row.latest is not None
    assert (row.first.difference, row.latest.difference) == (6, 0)
    assert row.state is LineState.AGREES


@pytest.mark.parametrize("table", ["rounds_count", "rounds_sighting", "rounds_recount"])
@pytest.mark.parametrize("sql", ["UPDATE {} SET id = id + 100", "DELETE FROM {}"])
def test_the_database_refuses_to_change_a_count(house: TestHouse, sheet: Sheet, table: str, sql: str) -> None:
    take(house, sheet, entry(house, 2, seen={house.lots["conger"].accession: Seen.SEEN}))
    line = house.line(sheet.census, "goby")
    ask_recount(lines=[line], of=house.second, by=house.registrar, now=NOW)
    with (
        pytest.raises(IntegrityError, match="append-only"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql.format(table))
