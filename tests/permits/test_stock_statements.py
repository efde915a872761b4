"""Statements of stock that a permit wants each quarter: which are due, and that one was sent."""

from collections.abc import Callable
from datetime import date

import pytest
from django.db import DatabaseError, transaction
from django.test import Client
from django.urls import reverse

from inventory.people.rules.roles import Role
from inventory.permits.actions.permits import PermitRefused
from inventory.permits.actions.stock_statements import record_statement
from inventory.permits.models import StatementSent
from inventory.permits.queries.reminders import reminders
from inventory.permits.rules.due import statement_days
from inventory.permits.rules.reminders import About, Reminder

from .house import PermitHouse, make_permit_house

# Calendar quarters: common practice, no source.
JUNE, SEPTEMBER = date(2026, 6, 30), date(2026, 9, 30)


@pytest.fixture
def house(db: None) -> PermitHouse:
    """A permit from 1 March 2026 to 28 February 2027 that wants its stock stated each quarter."""
    return make_permit_house(
        stock_statement="quarter", valid_from=date(2026, 3, 1), valid_until=date(2027, 2, 28)
    )


def _due(house: PermitHouse, on: date) -> list[Reminder]:
    return [one for one in reminders(on=on, zone=house.zone) if one.about is About.STATEMENT]


@pytest.mark.parametrize(
    ("every", "on", "days"),
    [
        ("quarter", date(2026, 3, 30), []),
        ("quarter", date(2026, 3, 31), [date(2026, 3, 31)]),
        ("quarter", date(2026, 10, 1), [date(2026, 3, 31), JUNE, SEPTEMBER]),
        ("year", date(2027, 12, 31), [date(2026, 12, 31), date(2027, 2, 28)]),
        ("", date(2027, 12, 31), []),
    ],
)
def test_stock_is_stated_at_the_end_of_each_quarter_and_of_the_permit(
    every: str, on: date, days: list[date]
) -> None:
    asked = {"valid_from": date(2026, 3, 1), "valid_until": date(2027, 2, 28)}
    assert statement_days(every=every, on=on, **asked) == days


def test_the_newest_statement_is_reminded_of_until_it_is_written_down_as_sent(house: PermitHouse) -> None:
    (due,) = _due(house, SEPTEMBER)
    assert (due.due_on, due.when) == (SEPTEMBER, "today")
    assert due.detail == f"stock at the end of {SEPTEMBER}; 2 earlier not written down as sent either"
    record_statement(
        permit=house.permit,
        as_of=SEPTEMBER,
        sent_on=date(2026, 10, 1),
        how="by letter",
        by=house.officer,
        now=house.now,
        zone=house.zone,
    )
    (left,) = _due(house, date(2026, 10, 2))
    assert left.due_on == JUNE


def test_what_is_not_over_cannot_have_been_stated(house: PermitHouse) -> None:
    with pytest.raises(PermitRefused, match="was not known yet on 2026-06-29"):
        record_statement(
            permit=house.permit,
            as_of=JUNE,
            sent_on=date(2026, 6, 29),
            how="by letter",
            by=house.officer,
            now=house.now,
            zone=house.zone,
        )
    assert not StatementSent.objects.exists()


@pytest.mark.usefixtures("frozen_clock")
def test_the_permits_page_lists_what_is_wanted_and_keeps_what_was_sent(
    house: PermitHouse, as_role: Callable[[Role], Client]
) -> None:
    address = reverse("permit", args=[house.permit.pk])
    page = as_role(Role.INSPECTOR).get(address).content.decode()
    assert f'<a href="?as_of={JUNE}#use">30 June 2026</a>' in page
    assert "Write down that it was sent" not in page
    said = {"as_of": str(JUNE), "sent_on": "2026-07-02", "how": "by e-mail"}
    write = reverse("permit_statement", args=[house.permit.pk])
    assert as_role(Role.INSPECTOR).post(write, said).status_code == 403
    told = as_role(Role.PERMIT_OFFICER).post(write, said, follow=True).content.decode()
    assert "sent 2 July 2026, by e-mail" in told
    told = as_role(Role.PERMIT_OFFICER).post(write, said, follow=True).content.decode()
    assert "Select a valid choice" in told
    assert StatementSent.objects.count() == 1


def test_what_was_sent_stays_as_it_was_written(house: PermitHouse) -> None:
    sent = StatementSent.objects.create(
        permit=house.permit, as_of=JUNE, sent_on=JUNE, how="by letter",
        entered_at=house.now, entered_by=house.officer,
    )  # fmt: skip
    with pytest.raises(DatabaseError), transaction.atomic():
        StatementSent.objects.filter(pk=sent.pk).update(how="by telephone")
