"""Settling: what a decision states must agree with itself, and limits hold over several decisions."""

from dataclasses import replace
from datetime import date

import pytest

from census.rounds.actions.refused import CensusRefused
from census.rounds.models import Decision
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How
from inventory.book.models import Event
from inventory.book.rules.drafts import Numbers
from inventory.book.rules.kinds import EventKind
from tests.factories import make_event

from .house import TestHouse
from .test_settling import SUSPECTED, confirmed, held, settle

pytestmark = pytest.mark.django_db

LOSS = Settling(how=How.ADJUSTMENT, reason="unexplained loss")


@pytest.mark.parametrize(
    ("settling", "why"),
    [
        (replace(LOSS, n=-1, numbers=Numbers(unknown=5)), "the sexes add up to 5, not 1"),
        (replace(SUSPECTED, last_seen=date(2026, 10, 5)), "last seen on 2026-10-05, after the count"),
        (Settling(how=How.OBSERVATION, note="  "), "give a reason, or say in a note why"),
    ],
)
def test_a_decision_that_contradicts_itself_is_refused(
    house: TestHouse, settling: Settling, why: str
) -> None:
    census = confirmed(house, {"bib": 17})
    events = Event.objects.count()
    with pytest.raises(CensusRefused, match=why):
        settle(house, census, "bib", settling, approved_by=house.curator)
    assert (Event.objects.count(), Decision.objects.count()) == (events, 0)


def test_an_adjustment_takes_no_animals_of_another_line(house: TestHouse) -> None:
    census = confirmed(house, {"bib": 17})
    other = replace(SUSPECTED, accessions=(house.lots["cod"].accession,))
    with pytest.raises(CensusRefused, match="is not on CS-26Q3-01 line"):
        settle(house, census, "bib", other, approved_by=house.curator)
    assert held(house, "cod", "K1") == (15, 0)


def test_as_many_individuals_are_written_off_as_the_number_says(house: TestHouse) -> None:
    census = confirmed(house, {"conger": 1})
    both = tuple(house.lots[name].accession for name in ("conger", "hawser"))
    loss = replace(LOSS, n=-1, accessions=both, note="searched", last_seen=date(2026, 7, 1))
    with pytest.raises(CensusRefused, match="1 animals, but 2 named"):
        settle(house, census, "conger", loss, approved_by=house.curator)
    assert held(house, "conger", "K1") == held(house, "hawser", "K1") == (1, 0)


def test_many_small_adjustments_need_the_curator_as_one_large_one_does(house: TestHouse) -> None:
    census = confirmed(house, {"goby": 6})
    settle(house, census, "goby", replace(LOSS, n=-2))
    for n in (-1, -3):
        with pytest.raises(CensusRefused, match=f"the curator's approval is needed: {2 - n} is above"):
            settle(house, census, "goby", replace(LOSS, n=n))
    last = settle(house, census, "goby", replace(LOSS, n=-3), approved_by=house.curator)
    assert (last.book, last.counted) == (6, 6)


def test_a_late_return_from_a_loan_adds_to_the_line_that_it_came_to(house: TestHouse) -> None:
    make_event("loan_out", lot=house.lots["bib"], place="K1", to_place="LO", unknown=5,
               happened="2026-09-20", entered_by=house.registrar)  # fmt: skip
    census = confirmed(house, {"bib": 22})
    late = Settling(how=How.LATE_EVENT, kind=EventKind.BACK_FROM_LOAN, happened="2026-09-25", n=5)
    decision = settle(house, census, "bib", late)
    assert (decision.n, decision.book, decision.counted) == (5, 22, 22)
    assert held(house, "bib", "LO") == (0, 0)
