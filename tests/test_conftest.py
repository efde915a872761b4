"""The test suite's own ground: what a test that empties the tables leaves behind."""

import socket

import pytest
from django.conf import settings
from django.contrib.auth.models import Group
from django.db import IntegrityError, connection
from pytest_socket import SocketConnectBlockedError

from inventory.book.models import Account, Cell, Event, Sex
from inventory.book.rules.kinds import OUTSIDE_CAUSES
from inventory.db import triggers

from . import factories


@pytest.mark.django_db
def test_every_declared_trigger_is_in_place_after_migrate() -> None:
    assert triggers.DECLARED
    assert triggers.missing(connection) == []


@pytest.mark.parametrize("run", [1, 2])
@pytest.mark.django_db(transaction=True)
def test_a_test_with_real_transactions_finds_the_rows_of_the_migrations(run: int) -> None:
    """The second run sees what the first one's flush left."""
    outside = Account.objects.filter(place=None)
    assert set(outside.values_list("cause", flat=True)) == set(OUTSIDE_CAUSES)
    assert Event.objects.count() == 0
    cell = Cell.objects.create(
        lot=factories.make_lot(),
        account=factories.make_place().account,
        sex=Sex.UNKNOWN,
        inside=True,
        capped=False,
    )
    with pytest.raises(IntegrityError, match="append-only"):
        cell.delete()


@pytest.mark.django_db
def test_a_person_of_a_role_is_in_its_group_and_can_sign_in() -> None:
    person = factories.make_person("Maren", roles=["registrar"])
    assert person.user is not None
    assert person.user.groups.get() == Group.objects.get(name="registrar")


def test_tests_keep_away_from_the_data_of_the_house() -> None:
    assert "tidetally-test-" in str(settings.DATA)


def test_no_test_reaches_another_machine() -> None:
    """192.0.2.1 is an address for documentation (RFC 5737): nobody answers there."""
    with (
        pytest.warns(UserWarning, match=r"192\.0\.2\.1"),
        pytest.raises(SocketConnectBlockedError),
    ):
        socket.create_connection(("192.0.2.1", 80), timeout=0.1)
