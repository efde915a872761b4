"""Guesses about differences: the evidence that the book has, best first, never a verdict."""

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from pytest_django import DjangoAssertNumQueries

from census.differences.rules.causes import Cause
from census.rounds.actions.accept import accept_proposals
from census.rounds.actions.counts import Entry, take_counts
from census.rounds.models import Census
from census.rounds.queries.explaining import explanations
from census.rounds.queries.find import census_of
from census.rounds.queries.reading import read_census
from census.rounds.rules.hypotheses import Hypothesis
from census.rounds.rules.words import How, Seen
from tests import factories
from tests.rounds.house import COUNTED, NOW, ZONE, TestHouse, at


def guesses(house: TestHouse, census: Census, name: str) -> list[Hypothesis]:
    rows = read_census(census)
    line = house.line(census, name)
    row = next(row for row in rows if line.pk in {part.line.pk for part in row.parts})
    return explanations(census, rows)[row.line.pk]


@pytest.mark.django_db
class TestEvidenceOfTheBook:
    def test_opposite_differences_of_one_taxon_are_offered_as_a_move(self, house: TestHouse) -> None:
        census = house.compared({"wrasse": 24, "wrasse q": 0})
        first = guesses(house, census, "wrasse")[0]
        assert (first.cause, first.how, first.explains) == (Cause.MOVE, How.LATE_MOVE, 6)
        assert first.other == str(house.line(census, "wrasse q"))

    def test_look_alikes_in_one_tank_are_offered_as_a_change_of_name(self, house: TestHouse) -> None:
        census = house.compared({"bib": 19, "cod": 18})
        assert guesses(house, census, "bib")[0].recount
        house.count(census, {"bib": 19, "cod": 18}, round=2)
        first = guesses(house, census, "bib")[0]
        assert (first.cause, first.how, first.explains) == (Cause.LOOK_ALIKE, How.CHANGE_OF_NAME, -3)

    def test_one_death_sent_twice_is_offered_to_be_taken_back(self, house: TestHouse) -> None:
        for second in (0, 41):
            factories.make_event(
                "died",
                lot=house.lots["goby"],
                place="K1",
                unknown=3,
                happened="2026-09-12T07:52",
                entered_at=at(f"2026-09-12T07:53:{second:02d}"),
            )
        census = house.compared({"goby": 8})
        first = guesses(house, census, "goby")[0]
        assert (first.cause, first.explains) == (Cause.DOUBLE, 3)
        assert "41 s apart" in first.words
        assert first.event

    def test_a_known_animal_that_was_not_seen_is_named(self, house: TestHouse) -> None:
        thole, hawser = (house.lots[name].accession for name in ("conger", "hawser"))
        roll_call = Entry(
            line=2,
            counted_at=COUNTED,
            counter=house.first,
            seen={thole: Seen.NOT_SEEN, hawser: Seen.SEEN},
        )
        census = house.compared({"conger": roll_call})
        first = guesses(house, census, "conger")[0]
        assert (first.cause, first.how, first.accessions) == (Cause.NOT_SEEN, How.MISSING, (thole,))
        assert "Thole" in first.words
        # Who accepts it need not say until when: the search ends fourteen days after the first count.
        decisions = accept_proposals(census=census, keys=[first.key], by=house.registrar, now=NOW, zone=ZONE)
        counted_on = COUNTED.astimezone(ZONE).date()
        assert [one.due_on for one in decisions] == [counted_on + timedelta(days=14)]

    def test_only_a_write_in_of_the_same_genus_is_offered(self, house: TestHouse) -> None:
        census = house.compared({"goby": 10, "wrasse": 16})
        house.count(census, {"wrasse": 16}, round=2)
        written = Entry(line=0, written_name="Gobius sp.", counted_at=COUNTED, counter=house.first, value=1)
        sheet = house.line(census, "goby").sheet
        take_counts(sheet=sheet, entries=[written], by=house.first, now=NOW)
        assert guesses(house, census, "goby")[0].cause is Cause.OTHER_NAME
        assert guesses(house, census, "wrasse")[0].cause is Cause.LOSS

    def test_what_lies_inside_its_tolerance_is_not_explained(self, house: TestHouse) -> None:
        census = house.compared({"shoal": 400})
        assert explanations(census, read_census(census)) == {}

    def test_a_book_below_zero_is_told(self, house: TestHouse) -> None:
        factories.make_event("died", lot=house.lots["goby"], place="K1", unknown=17, happened="2026-09-12")
        census = house.compared({"goby": 34})
        first = guesses(house, census, "goby")[0]
        assert (first.cause, first.explains) == (Cause.BELOW_ZERO, 40)

    def test_a_late_entry_is_told_with_what_it_moved(self, house: TestHouse) -> None:
        census = house.compared({"goby": 6})
        factories.make_event("died", lot=house.lots["goby"], place="K1", happened="2026-09-27")
        late = [g for g in guesses(house, census, "goby") if g.cause is Cause.LATE]
        assert len(late) == 1
        assert late[0].words.startswith("book moved 11 to 10 since the count, by 1 died, 2026-09-27")

    def test_nothing_found_is_called_unexplained(self, house: TestHouse) -> None:
        census = house.compared({"goby": 6})
        assert [g.cause for g in guesses(house, census, "goby")] == [Cause.MISCOUNT, Cause.LOSS]
        house.count(census, {"goby": 6}, round=2)
        only = guesses(house, census, "goby")
        assert [(g.cause, g.explains) for g in only] == [(Cause.LOSS, -5)]

    def test_lines_that_agree_are_not_explained(self, house: TestHouse) -> None:
        census = house.compared({"goby": 6})
        assert len(explanations(census, read_census(census))) == 1

    def test_more_differences_ask_no_more_queries(
        self, house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
    ) -> None:
        census = census_of(house.compared({"goby": 6}).code)
        with CaptureQueriesContext(connection) as few:
            explanations(census, read_census(census))
        house.add_many_lines(census)
        census = census_of(census.code)
        with django_assert_num_queries(len(few)):
            explanations(census, read_census(census))
