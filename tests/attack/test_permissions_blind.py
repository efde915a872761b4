"""Whatever other roles a counter has, no page tells a number of the tank that they are counting."""

import pytest
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inventory.people.rules.roles import Role
from tests import factories

from ..rounds.blind_walk import Walk, pattern_of
from ..rounds.house import make_test_house
from ..rounds.test_blind_bytes import BOOKS, _issued, stocked_with_sprats

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock"), pytest.mark.slow]


@settings(max_examples=6, deadline=None, suppress_health_check=list(HealthCheck))
@given(others=st.sets(st.sampled_from(list(Role)), max_size=5), which=st.integers(0, 5))
def test_a_counter_never_reads_a_number_of_the_tank_whatever_else_they_are(
    others: set[Role], which: int
) -> None:
    with transaction.atomic():
        made = stocked_with_sprats(make_test_house())
        counter = factories.make_person("Alvilda", roles=[Role.COUNTER, *others])
        _issued(made, counter)
        client, walk = Client(), Walk(pattern_of(BOOKS))
        client.force_login(counter.user)  # type: ignore[arg-type]
        pages = ("/", "/places", "/place/K1", "/lots", "/lot/HER-1", "/change", "/taxon/Sprattus sprattus")
        for address in (*pages[which:], *pages[:which])[:4]:
            walk.open(client, address)
        assert walk.leaks == []
        transaction.set_rollback(True)
