"""Guesses about differences: the evidence that the book has, best first, never a verdict."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pytest_django import DjangoAssertNumQueries

from census.rounds.actions.counts import Entry, take_counts
from census.rounds.models import Census
from census.rounds.queries.evidence import explanations
from census.rounds.queries.find import census_of
from census.rounds.queries.reading import read_census
from census.rounds.rules.hypotheses import Cause, Difference, Hypothesis, explain
from census.rounds.rules.words import How, Seen
from tests import factories

from .house import COUNTED, NOW, TestHouse, at


def guesses(house: TestHouse, census: Census, name: str) -> list[Hypothesis]:
    rows = read_census(census)
    line = house.line(census, name)
    row = next(row for row in rows if line.pk in {part.line.pk for part in row.parts})
    return explanations(census, rows)[row.line.pk]


differences = st.builds(
    Difference,
    ref=st.sampled_from(["S line 1", "S line 2", "T line 1"]),
    place=st.sampled_from(["K1", "K2"]),
    taxon=st.sampled_from(["Bib", "Cod"]),
    unit=st.sampled_from(["animal", "colony", "egg case"]),
    book=st.integers(-10, 100),
    count=st.integers(0, 100),
    at_least=st.booleans(),
    look_alike_set=st.sampled_from(["", "cods"]),
    can_divide=st.booleans(),
    written_in=st.booleans(),
)


@given(differences, st.lists(differences, max_size=6))
def test_no_guess_explains_more_than_there_is_or_the_other_way(
    one: Difference, others: list[Difference]
) -> None:
    found = explain(one, others)
    for guess in found:
        assert abs(guess.explains) <= abs(one.difference)
        assert guess.explains * one.difference >= 0
        assert guess.words
    assert any(guess.explains == one.difference for guess in found)


@given(differences, st.lists(differences, max_size=6))
def test_what_explains_all_comes_before_what_explains_a_part(
    one: Difference, others: list[Difference]
) -> None:
    open_parts = [
        abs(one.difference - guess.explains)
        for guess in explain(one, others)
        if guess.cause is not Cause.UNEXPLAINED
    ]
    assert open_parts == sorted(open_parts)


@pytest.mark.parametrize(("written_in", "how"), [(True, None), (False, How.ADJUSTMENT)])
def test_what_was_written_in_is_not_offered_as_an_adjustment(written_in: bool, how: How | None) -> None:
    one = Difference("S line 1", "K1", "Bib", "animal", book=0, count=3, written_in=written_in)
    assert [(guess.cause, guess.how) for guess in explain(one, [])] == [(Cause.UNEXPLAINED, how)]


@pytest.mark.django_db
class TestEvidenceOfTheBook:
    def test_opposite_differences_of_one_taxon_are_offered_as_a_move(self, house: TestHouse) -> None:
        census = house.compared({"wrasse": 24, "wrasse q": 0})
        first = guesses(house, census, "wrasse")[0]
        assert (first.cause, first.how, first.explains) == (Cause.OPPOSITE, How.LATE_MOVE, 6)
        assert first.other == str(house.line(census, "wrasse q"))

    def test_look_alikes_in_one_tank_are_offered_as_a_change_of_name(self, house: TestHouse) -> None:
        census = house.compared({"bib": 19, "cod": 18})
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

    def test_only_a_write_in_of_the_same_genus_is_offered(self, house: TestHouse) -> None:
        census = house.compared({"goby": 10, "wrasse": 16})
        written = Entry(line=0, written_name="Gobius sp.", counted_at=COUNTED, counter=house.first, value=1)
        sheet = house.line(census, "goby").sheet
        take_counts(sheet=sheet, entries=[written], by=house.first, now=NOW)
        assert guesses(house, census, "goby")[0].cause is Cause.WRITE_IN
        assert guesses(house, census, "wrasse")[0].cause is Cause.UNEXPLAINED

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
        only = guesses(house, census, "goby")
        assert [(g.cause, g.explains) for g in only] == [(Cause.UNEXPLAINED, -5)]

    def test_lines_that_agree_are_not_explained(self, house: TestHouse) -> None:
        census = house.compared({"goby": 6})
        assert len(explanations(census, read_census(census))) == 1

    def test_more_differences_ask_no_more_queries(
        self, house: TestHouse, django_assert_num_queries: DjangoAssertNumQueries
    ) -> None:
        census = house.compared({"goby": 6})
        house.add_many_lines(census)
        census = census_of(census.code)
        rows = read_census(census)
        with django_assert_num_queries(1):
            explanations(census, rows)
