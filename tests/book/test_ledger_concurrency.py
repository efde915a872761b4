"""Several writers at once: nothing lost, nothing doubled, one chain."""

from collections.abc import Callable
from datetime import datetime, tzinfo

import pytest
from django.db import connection

from inventory.book.actions.post import LedgerRefused, post_event
from inventory.book.models import Cell, Event
from inventory.book.queries.verification import verify
from inventory.book.rules.drafts import EventDraft
from tests.factories import make_draft, make_lot, make_person, make_place
from tests.threads import at_once

pytestmark = pytest.mark.django_db(transaction=True)

WRITERS = 8


def all_at_once(work: Callable[[int], object]) -> list[object]:
    def one(number: int) -> object:
        try:
            return work(number)
        finally:
            connection.close()

    return at_once(one, range(WRITERS))


def test_eight_writers_lose_and_double_nothing(ledger_now: datetime, zone: tzinfo) -> None:
    lot, tank, person = make_lot(), make_place(), make_person()

    def five_arrivals(_: int) -> None:
        for _ in range(5):
            draft = make_draft("received", lot=lot, place=tank, unknown=1, entered_by=person)
            post_event(draft, now=ledger_now, zone=zone)

    all_at_once(five_arrivals)
    assert Cell.objects.get(lot=lot, inside=True).balance == WRITERS * 5
    assert verify(zone).findings == []


def test_one_identifier_sent_by_eight_at_once_is_one_event(ledger_now: datetime, zone: tzinfo) -> None:
    draft: EventDraft = make_draft("received", lot=make_lot(), place=make_place(), unknown=3)
    answers = all_at_once(lambda _: post_event(draft, now=ledger_now, zone=zone).event_id)
    assert set(answers) == {1}
    assert Event.objects.count() == 1


def test_the_last_animal_is_taken_once_only(ledger_now: datetime, zone: tzinfo) -> None:
    """Eight people record the death of one individual, each under an identifier of their own."""
    conger, tank, person = make_lot(kind="individual"), make_place(), make_person()
    post_event(make_draft("received", lot=conger, place=tank), now=ledger_now, zone=zone)

    def die(_: int) -> bool:
        draft = make_draft("died", lot=conger, place=tank, happened="2026-09-02", entered_by=person)
        try:
            post_event(draft, now=ledger_now, zone=zone)
        except LedgerRefused:
            return False
        return True

    assert sum(map(bool, all_at_once(die))) == 1
    assert verify(zone).findings == []
