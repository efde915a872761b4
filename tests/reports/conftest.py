"""The small invented house of the population change, asked for every layout."""

import pytest
from django.test import Client
from django.utils.timezone import get_current_timezone

from census.change.rules.question import Question
from census.reports.queries.layouts import LAYOUTS
from census.reports.rules.document import Document
from census.reports.rules.said import Saying
from inventory.people.rules.roles import Role
from tests.change.sample import THIRD_QUARTER, Sample, make_sample
from tests.factories import make_house, make_person
from tests.permits.house import PermitHouse, a_take, make_permit_house

# Layouts of the whole house, whose rows are taxa, places, quarters and owners.
OF_THE_HOUSE = ("taxa", "exhibits", "periods", "stock-list")
QUARTER = {"first_day": "2026-07-01", "last_day": "2026-09-30"}


@pytest.fixture
def sample(db: None) -> Sample:
    make_house(licence_number="ZL 12/2024")
    return make_sample()


@pytest.fixture
def house_with_takes(db: None) -> PermitHouse:
    """Three takes under one permit, of two of its lines."""
    house = make_permit_house()
    house.record(a_take("two-spotted goby", 9, let_go=5, died=2))
    house.record(a_take("Pleurobrachia pileus", 3), happened="2026-09-02")
    house.record(a_take("Pleurobrachia pileus", 4), happened="2026-09-03")
    return house


@pytest.fixture
def reader(client: Client) -> Client:
    """An inspector: reads everything, changes nothing."""
    person = make_person(roles=[Role.INSPECTOR])
    assert person.user is not None
    client.force_login(person.user)
    return client


def answered(layout: str, question: Question = THIRD_QUARTER, *, words: bool = True) -> Document:
    """One layout of one question."""
    return LAYOUTS[layout].answer(question, Saying(get_current_timezone(), words))
