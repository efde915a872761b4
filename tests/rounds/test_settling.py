"""Settling: what is posted, who must agree, and when a settled line opens again."""

import pytest

from census.rounds.actions.decide import decide_line
from census.rounds.models import Census, Decision
from census.rounds.rules.settling import Settling
from census.rounds.rules.words import How, LineState
from inventory.book.rules.kinds import EventKind

from .house import NOW, ZONE, TestHouse, at

pytestmark = pytest.mark.django_db


def settle(house: TestHouse, census: Census, name: str, settling: Settling, **names: object) -> Decision:
    names.setdefault("by", house.registrar)
    return decide_line(line=house.line(census, name), settling=settling, now=NOW, zone=ZONE, **names)  # type: ignore[arg-type]


LOSS = Settling(how=How.ADJUSTMENT, reason="eaten (suspected)", n=-5, evidence="kept with congers")


def test_a_loss_is_posted_at_the_count_moment_and_names_its_line(house: TestHouse) -> None:
    census = house.compared({"goby": 6})
    house.count(census, {"goby": 6}, round=2)
    decision = settle(house, census, "goby", LOSS, approved_by=house.curator)
    event = decision.events.get()
    assert event.kind == EventKind.UNACCOUNTED
    assert event.effective_at == at("2026-09-30T10:00")
    assert event.evidence.startswith("CS-26Q3-01 line 3")
    assert event.approved_by == house.curator
    assert (decision.book, decision.counted, decision.n) == (6, 6, -5)
    assert house.row(census, "goby").state is LineState.SETTLED
