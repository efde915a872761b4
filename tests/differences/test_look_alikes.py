"""Animals taken for another kind, where something else hides one end of it."""

from datetime import UTC, datetime

import pytest

from census.differences.rules.causes import Cause
from census.differences.rules.explain import Explained, explain
from census.differences.rules.facts import HouseFacts, Line
from census.rounds.actions.accept import accept_proposals
from census.rounds.models import Census
from census.rounds.queries.explaining import explanations
from census.rounds.queries.reading import read_census
from census.rounds.rules.hypotheses import Hypothesis
from census.rounds.rules.words import LineState
from tests import factories
from tests.rounds.house import NOW, ZONE, TestHouse, stock

MOMENT = datetime(2026, 9, 29, 10, tzinfo=UTC)
ROUTES = HouseFacts(routes={("K1", "K2"): 4, ("K2", "K1"): 4})


def line(taxon: str, place: str, book: int, count: int) -> Line:
    return Line(
        f"{place} {taxon}", place, taxon, "animal", book, count, confirmed=True, moment=MOMENT,
        look_alike_set="cods", lots=(taxon,),
    )  # fmt: skip


def proposed(lines: list[Line], house: HouseFacts = ROUTES) -> dict[str, list[tuple[Cause, str, int]]]:
    def best(one: Explained) -> list[tuple[Cause, str, int]]:
        found = [r for r in one.ranked if r.best]
        return [(r.possible.cause, r.possible.candidate.key.partition(" / ")[2], r.n) for r in found]

    return {key: best(one) for key, one in explain(lines, house).items()}


def test_a_look_alike_is_found_where_a_move_leaves_both_lines_short() -> None:
    found = proposed([line("bib", "K1", 22, 19), line("cod", "K1", 15, 9), line("cod", "K2", 6, 15)])
    swap = (Cause.LOOK_ALIKE, "K1 bib > K1 cod", 3)
    assert found["K1 bib"] == [swap]
    # What runs against the difference is settled first: only then are there nine to have moved.
    assert found["K1 cod"] == [swap, (Cause.MOVE, "K1 cod > K2 cod", 9)]


def test_both_ends_of_a_look_alike_are_named_on_either_line() -> None:
    lines = explain([line("bib", "K1", 22, 19), line("cod", "K1", 15, 18)], ROUTES)
    for one in lines.values():
        said = one.ranked[0].possible.words
        assert "K1 bib: bib has -3" in said
        assert "K1 cod: cod, which looks alike, +3 in the same place" in said


def test_a_look_alike_is_found_where_a_move_leaves_both_lines_over() -> None:
    found = proposed([line("bib", "K1", 22, 24), line("cod", "K1", 15, 22), line("cod", "K2", 20, 11)])
    assert found["K1 bib"] == [(Cause.LOOK_ALIKE, "K1 cod > K1 bib", 2)]
    assert found["K2 cod"] == [(Cause.MOVE, "K2 cod > K1 cod", 9)]


def test_two_small_losses_beside_each_other_stay_two_losses_without_more_evidence() -> None:
    found = proposed([line("bib", "K1", 22, 21), line("cod", "K1", 15, 11)])
    causes = {cause for answers in found.values() for cause, _, _ in answers}
    assert Cause.LOOK_ALIKE not in causes


def test_lines_that_are_both_short_in_two_places_are_no_look_alikes() -> None:
    found = proposed([line("bib", "K1", 22, 19), line("cod", "K2", 15, 9)])
    assert {cause for answers in found.values() for cause, _, _ in answers} == {Cause.LOSS}


def _guesses(house: TestHouse, census: Census, name: str) -> list[Hypothesis]:
    rows = read_census(census)
    return [one for one in explanations(census, rows)[house.line(census, name).pk] if one.best]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("held_in_q", "counts"),
    [
        pytest.param(6, {"bib": 19, "cod": 9, "cod q": 15}, id="both short"),
        pytest.param(20, {"bib": 24, "cod": 22, "cod q": 11}, id="both over"),
    ],
)
def test_what_is_proposed_for_them_settles_all_three_lines(
    house: TestHouse, held_in_q: int, counts: dict[str, int]
) -> None:
    house.lots["cod q"] = factories.make_lot(taxon=house.lots["cod"].taxon)
    stock(house, "cod q", "K2", held_in_q)
    census = house.compared(counts)
    house.count(census, counts, round=2)
    lines = {house.line(census, name).pk for name in counts}
    (swap,) = _guesses(house, census, "bib")
    assert (swap.cause, abs(swap.explains)) == (Cause.LOOK_ALIKE, abs(counts["bib"] - 22))
    assert "something else is at work too" in swap.words
    accept_proposals(census=census, keys=[swap.key], by=house.registrar, now=NOW, zone=ZONE)
    assert house.row(census, "bib").state is LineState.SETTLED
    assert house.row(census, "cod").state is not LineState.SETTLED
    (move,) = _guesses(house, census, "cod")
    assert (move.cause, abs(move.explains)) == (Cause.MOVE, 9)
    accept_proposals(census=census, keys=[move.key], by=house.registrar, now=NOW, zone=ZONE)
    states = {row.line.pk: row.state for row in read_census(census)}
    assert {states[pk] for pk in lines} == {LineState.SETTLED}
