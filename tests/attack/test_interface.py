"""The programming interface against its own description: schemathesis sends what the OpenAPI document allows,
and what it does not, to the WSGI application in process."""

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections, transaction
from django.test import Client
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from inventory.site.wsgi import application

from .fuzz.importers import FuzzHouse, build

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock"), pytest.mark.slow]

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
]
EXAMPLES = 8


@pytest.fixture
def house() -> FuzzHouse:
    """With a tablet that is let in, and sheets to count."""
    return build()


@pytest.fixture(autouse=True)
def _one_connection() -> Iterator[None]:
    """As Django's own test client: a request neither opens nor closes the connection of the test."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


def _served(environ: Any, start_response: Any) -> Any:
    """The application as a server calls it: with the address of who asks."""
    return application({**environ, "REMOTE_ADDR": "127.0.0.1"}, start_response)


def _operations() -> Iterator[Any]:
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", app=_served)
    for found in schema.get_all_operations():
        yield found.ok()  # type: ignore[union-attr]  # a description that cannot be read fails here


@pytest.mark.parametrize("who", ["a device", "nobody", "a made-up token"])
def test_no_answer_is_a_server_error_and_each_is_as_described(house: FuzzHouse, who: str) -> None:
    headers = {
        "a device": {"Authorization": f"Bearer {house.token}"},
        "nobody": {},
        "a made-up token": {"Authorization": "Bearer tide_" + "x" * 43},
    }[who]
    asked = []
    for operation in _operations():
        for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):
            _try(operation, headers, mode)
        asked.append(operation.label)
    assert {"POST /api/v1/entries", "POST /api/v1/counts", "GET /api/v1/tank-side"} <= set(asked)


def _try(operation: Any, headers: dict[str, str], mode: GenerationMode) -> None:
    @settings(
        max_examples=EXAMPLES,
        deadline=None,
        derandomize=True,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode))
    def one(case: Any) -> None:
        with transaction.atomic():
            case.headers.pop("Authorization", None)
            case.call_and_validate(headers=headers, checks=CHECKS)
            transaction.set_rollback(True)

    one()


@pytest.mark.parametrize("moment", ["0546-11-01T10:04:39+16:37", "0001-01-01T00:00:00+10:00"])
def test_a_moment_that_no_database_keeps_comes_back_in_words(house: FuzzHouse, moment: str) -> None:
    client = Client(headers={"Authorization": f"Bearer {house.token}"})
    entry = {
        "identifier": "00000000-0000-4000-8000-000000000001",
        "kind": "died",
        "person": house.house.first.pk,
        "saved_at": moment,
        "place": "K1",
    }
    for where in ("entries", "counts"):
        sent = {"sent_at": "2026-10-06T09:00:00+01:00", "entries": [entry]}
        answer = client.post(f"/api/v1/{where}", sent, content_type="application/json")
        assert answer.status_code == 200, answer.content
        assert answer.json()["answers"][0]["outcome"] != "taken"


@pytest.mark.parametrize("number", [2**63, 10**30, -(10**30)])
def test_a_number_that_no_database_holds_comes_back_in_words(house: FuzzHouse, number: int) -> None:
    client = Client(headers={"Authorization": f"Bearer {house.token}"})
    entry = {
        "identifier": "00000000-0000-4000-8000-000000000001",
        "kind": "died",
        "person": number,
        "saved_at": "2026-10-06T09:00:00+01:00",
        "place": "K1",
    }
    for where in ("entries", "counts"):
        sent = {"sent_at": "2026-10-06T09:00:00+01:00", "entries": [entry]}
        answer = client.post(f"/api/v1/{where}", sent, content_type="application/json")
        assert answer.status_code == 200, answer.content
        assert answer.json()["answers"][0]["outcome"] != "taken"
    answer = client.post(
        "/api/v1/persons/check", {"person": number, "code": "4071"}, content_type="application/json"
    )
    assert answer.status_code == 422
