"""A small house with one permit, for the tests of this room."""

from collections.abc import Callable

import pytest
from django.test import Client

from inventory.people.rules.roles import Role

from .house import PermitHouse, make_permit_house


@pytest.fixture
def house(db: None) -> PermitHouse:
    """One permit with lines of each kind, the people whom it names, and two places."""
    return make_permit_house()


@pytest.fixture
def as_role(house: PermitHouse) -> Callable[[Role], Client]:
    """A client signed in as somebody with the role."""

    def sign_in(role: Role) -> Client:
        client = Client()
        user = house.people[role].user
        assert user is not None
        client.force_login(user)
        return client

    return sign_in
