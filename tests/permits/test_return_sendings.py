"""A return that was sent: when, how and to whom, with its receipt, and once."""

from datetime import timedelta
from typing import Any

import pytest

from inventory.book.queries.documents import read_document
from inventory.permits.actions.returns import ReturnRefused, record_sending
from inventory.permits.models import ReturnSending

from .house import PermitHouse, a_take
from .test_returns import DAY, freeze


def test_the_same_sending_noted_twice_stands_once(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    for how in ("by e-mail", "by e-mail", "by post"):
        record_sending(
            of_return=one,
            sent_on=DAY,
            how=how,
            to="the authority",
            by=house.officer,
            now=house.now,
            zone=house.zone,
        )
    assert [sending.how for sending in one.sendings.all()] == ["by e-mail", "by post"]


def test_a_sending_that_stands_twice_from_before_is_answered_with_the_first(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    said: dict[str, Any] = {"of_return": one, "sent_on": DAY, "how": "by e-mail", "to": "the authority"}
    first, _ = (
        ReturnSending.objects.create(**said, entered_at=house.now, entered_by=house.officer) for _ in "ab"
    )
    assert record_sending(**said, by=house.officer, now=house.now, zone=house.zone) == first


def test_a_sending_is_kept_with_its_receipt(house: PermitHouse) -> None:
    house.record(a_take("two-spotted goby", 4))
    one = freeze(house)
    facts: dict[str, Any] = {
        "how": "by e-mail",
        "to": "returns@board.example",
        "by": house.officer,
        "now": house.now,
        "zone": house.zone,
    }
    sent = record_sending(of_return=one, sent_on=DAY, receipt=("answer.txt", b"we have it"), **facts)
    assert sent.receipt
    assert read_document(sent.receipt) == b"we have it"
    with pytest.raises(ReturnRefused, match="cannot be sent before"):
        record_sending(of_return=one, sent_on=DAY - timedelta(days=1), **facts)
    with pytest.raises(ReturnRefused, match="to whom"):
        record_sending(of_return=one, sent_on=DAY, **facts | {"to": " "})
