"""Exact places are shown to who takes animals and who keeps permits; to others they are made coarse."""

from collections.abc import Callable
from decimal import Decimal

import pytest
from django.test import Client

from inventory.people.rules.roles import Role
from inventory.permits.actions.entries import Recorded

from .house import PermitHouse, a_take

AsRole = Callable[[Role], Client]
EXACT = ("60.512345", "-4.498765", "the third boulder", "under the ledge", "seen from the pier")


def _recorded(house: PermitHouse) -> Recorded:
    return house.record(
        a_take("Asterias rubens", let_go=1, remarks="under the ledge"),
        latitude=Decimal("60.512345"),
        longitude=Decimal("-4.498765"),
        locality="the third boulder",
        note="seen from the pier",
    )


def _told(house: PermitHouse, client: Client) -> str:
    recorded = _recorded(house)
    pages = [f"/trip/{recorded.trip.identifier}", f"/permit/{house.permit.pk}"]
    pages += [f"/permits/case/{case.pk}" for case in recorded.cases]
    return "".join(client.get(page).text for page in pages)


@pytest.mark.parametrize("role", [Role.INSPECTOR, Role.COUNTER, Role.VETERINARIAN])
def test_places_are_coarse_for_those_who_need_not_go_there(
    house: PermitHouse, as_role: AsRole, frozen_clock: object, role: Role
) -> None:
    told = _told(house, as_role(role))
    assert "about 60.5, -4.5 (WGS84), rounded to 0.1 degree" in told
    assert [words for words in EXACT if words in told] == []


@pytest.mark.parametrize("role", [Role.AQUARIST, Role.PERMIT_OFFICER])
def test_places_are_exact_for_those_who_take_and_keep(
    house: PermitHouse, as_role: AsRole, frozen_clock: object, role: Role
) -> None:
    told = _told(house, as_role(role))
    assert [words for words in EXACT if words not in told] == []
