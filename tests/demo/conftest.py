"""The demo house, built once for the tests that look at it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo

import pytest
from django.db import transaction
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from census.demo.actions.build import build_house
from census.demo.actions.people import SignIn
from census.demo.rules.history import History
from tests import factories


@dataclass(frozen=True, slots=True)
class DemoHouse:
    """What the build answered, and the moment at which the house lives."""

    history: History
    sign_ins: list[SignIn]
    now: datetime
    zone: tzinfo


@pytest.fixture(scope="module")
def house(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[DemoHouse]:
    """The demo house in its half counted state; taken back after the module's tests.

    Tests that use it are marked ``django_db``: their own transactions are savepoints in this one.
    """
    zone = timezone.get_current_timezone()
    with django_db_blocker.unblock(), transaction.atomic():
        history, sign_ins = build_house(now=factories.NOW, zone=zone)
        yield DemoHouse(history, sign_ins, factories.NOW, zone)
        transaction.set_rollback(True)
