"""The demo house for the tests that look at it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo

import pytest
from django.db import transaction
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from census.demo.actions.people import SignIn
from census.demo.rules.history import History
from tests import factories

from ..migrated import looking_at
from .built import Built


@dataclass(frozen=True, slots=True)
class DemoHouse:
    """What the build answered, and the moment at which the house lives."""

    history: History
    sign_ins: list[SignIn]
    now: datetime
    zone: tzinfo


@pytest.fixture(scope="module")
def house(demo_built: Built, django_db_blocker: DjangoDbBlocker) -> Iterator[DemoHouse]:
    """The demo house in its half counted state; what the module's tests and fixtures change is taken back.

    Tests that use it are marked ``django_db``: their own transactions are savepoints in this one.
    """
    zone = timezone.get_current_timezone()
    with django_db_blocker.unblock(), looking_at(demo_built.database), transaction.atomic():
        yield DemoHouse(demo_built.history, demo_built.sign_ins, factories.NOW, zone)
        transaction.set_rollback(True)
