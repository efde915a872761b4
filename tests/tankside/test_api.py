"""The interface as others see it: its description, who is let in, the lists, and what is unreadable."""

import json
import logging
import re
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, connections
from django.test import Client
from django.test.utils import CaptureQueriesContext
from openapi_spec_validator import OpenAPIV31SpecValidator

from inventory.book.actions.close import close_period
from inventory.book.models import Event, Keeping
from inventory.book.queries.verification import verify
from inventory.doors import clock
from inventory.names.actions.lists import load_lists
from inventory.people.actions.devices import give_token, make_device
from inventory.people.models import DeviceScope
from inventory.site.api import api
from inventory.tankside.models import Entry
from inventory.tankside.rules.kinds import EntryKind
from tests.sources import PROJECT

from ..factories import NOW, make_event, make_lot, make_period, make_person, make_place, make_taxon
from ..threads import at_once
from .conftest import CODE, Tablet, TankHouse

MINUTE = timedelta(minutes=1)


@pytest.fixture(scope="module")
def description() -> Any:
    return json.loads(json.dumps(api.get_openapi_schema()))


# The standard: OpenAPI Specification 3.1, by its own JSON schema as openapi-spec-validator carries it.
def test_the_description_is_valid_openapi(description: Any) -> None:
    assert description["openapi"].startswith("3.1")
    OpenAPIV31SpecValidator(description).validate()


def test_the_description_is_served(client: Client, db: None) -> None:
    served = client.get("/api/v1/openapi.json").json()
    assert "/api/v1/entries" in served["paths"]


def test_every_field_route_and_kind_is_described(description: Any) -> None:
    undescribed = [
        f"{name}.{field}"
        for name, schema in description["components"]["schemas"].items()
        for field, of in schema.get("properties", {}).items()
        if not of.get("description")
    ]
    assert undescribed == []
    for path, methods in description["paths"].items():
        for method, route in methods.items():
            assert route["summary"], (path, method)
            assert route["description"], (path, method)
    entry = json.dumps(description["components"]["schemas"]["EntryIn"])
    assert '"pass"' in entry
    assert set(EntryKind) <= set(
        json.loads(json.dumps(description))["components"]["schemas"]["EntryKind"]["enum"]
    )


def test_each_entry_is_described_in_the_envelope(description: Any) -> None:
    entries = description["components"]["schemas"]["EntriesIn"]["properties"]["entries"]
    assert entries["items"]["$ref"].endswith("/EntryIn")
    assert (entries["minItems"], entries["maxItems"]) == (1, 200)


@pytest.mark.parametrize("token", ["", "tide_unknown", "é", "x" * 5_000])
def test_a_token_that_is_unknown_is_told_so(tablet: Tablet, token: str) -> None:
    refused = tablet.post("entries", {"sent_at": NOW.isoformat(), "entries": []}, token=token)
    assert refused.status_code == 401
    assert refused.json()["reason"] == "unknown"


def test_without_a_token_nothing_is_open(client: Client, tablet: Tablet) -> None:
    assert client.get("/api/v1/tank-side").status_code == 401
    assert client.post("/api/v1/entries", {}, content_type="application/json").status_code == 401
    assert client.post("/api/v1/persons/check", {}, content_type="application/json").status_code == 401


def test_a_sign_in_opens_nothing_that_a_token_opens(client: Client, house: TankHouse) -> None:
    assert house.registrar.user is not None
    client.force_login(house.registrar.user)
    assert client.get("/api/v1/tank-side").status_code == 401


@pytest.mark.parametrize(
    "body",
    [
        "no json",
        "[]",
        "{}",
        '{"sent_at": "2026-10-06T09:00:00+01:00", "entries": []}',
        '{"sent_at": "2026-10-06T09:00:00", "entries": [{}]}',
        '{"sent_at": "2026-10-06T09:00:00+01:00", "entries": [{}]}',
        '{"sent_at": "2026-10-06T09:00:00+01:00", "entries": ["entry"]}',
        json.dumps({"sent_at": "2026-10-06T09:00:00+01:00", "entries": [{}] * 201}),
    ],
)
def test_an_envelope_that_cannot_be_read_is_told_so_and_nothing_is_taken(tablet: Tablet, body: str) -> None:
    refused = tablet.post("entries", body)
    assert refused.status_code == 422, refused.content
    assert refused.json()["reason"] == "unreadable"
    assert refused.json()["detail"]
    assert not Entry.objects.exists()


def test_more_than_is_taken_at_once_is_told_so(tablet: Tablet, settings: Any) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000
    refused = tablet.post("entries", {"sent_at": NOW.isoformat(), "entries": [{"note": "x" * 2_000}]})
    assert (refused.status_code, refused.json()["reason"]) == (413, "unreadable")


def test_two_hundred_entries_go_together(tablet: Tablet) -> None:
    answers = tablet.send(*(tablet.entry("note", note=f"note {n}") for n in range(200)))
    assert {one["outcome"] for one in answers} == {"sent"}


def test_what_is_unreadable_is_told_without_what_was_sent(tablet: Tablet) -> None:
    refused = tablet.post("persons/check", {"person": "somebody", "code": "4" * 30})
    assert refused.status_code == 422
    assert "4444" not in refused.text


def test_the_example_of_the_readme_is_taken_as_it_stands(house: TankHouse, tablet: Tablet) -> None:
    """With a sensor's token, as the text before it says."""
    readme = (PROJECT / "README.md").read_text(encoding="utf-8")
    (body,) = re.findall(r"^curl \S+/api/v1/entries .*? -d '(\{.*?\})'$", readme, re.M | re.S)
    probe = make_device(name="Probe", scope=DeviceScope.READINGS, by=house.registrar, now=NOW)
    tablet.token = give_token(probe, by=house.registrar, now=NOW).token
    answer = tablet.post("entries", body).json()["answers"][0]
    assert (answer["outcome"], answer["words"]) == ("sent", "Temperature 11.4 °C, Kelp Hall, 09:00")


def lists(tablet: Tablet, **headers: str) -> Any:
    return tablet.client.get(
        "/api/v1/tank-side", headers={"Authorization": f"Bearer {tablet.token}", **headers}
    )


def test_the_lists_hold_what_an_entry_needs(house: TankHouse, tablet: Tablet) -> None:
    Keeping.objects.create(place=house.kelp_hall, keeper=house.aquarist, since=NOW.date())
    make_place("E02a", name="The den", parent=house.kelp_hall)
    make_person("Corin", roles=["aquarist"], left_on=NOW.date())
    make_person("Ruadh", roles=["inspector"])
    got = lists(tablet).json()
    assert (got["house"], got["zone"], got["temperature_unit"]) == ("Test Aquarium", "Atlantic/Faroe", "°C")
    assert [person["name"] for person in got["persons"]] == ["Maren", "Sunniva"]
    assert [(place["code"], place["keepers"]) for place in got["places"]] == [
        ("E02", ["Sunniva"]), ("E02a", ["Sunniva"]), ("Q1", []),
    ]  # fmt: skip
    goby = next(lot for lot in got["lots"] if lot["accession"] == "G1")
    assert (goby["place"], goby["letters"], goby["common_name"], goby["count_class"]) == (
        "E02", "PF", "two-spotted goby", "C",
    )  # fmt: skip
    keys = {name["key"]: name["lots"] for name in got["open_names"]}
    assert keys == {"set:rays": ["R1", "R2"], "genus:Raja": ["R1", "R2"]}
    assert got["causes"][0] == "not known"
    assert got["settings"]["undo_minutes"] == 10
    assert got["clock_shift_seconds"] == 0


def test_a_demonstration_tells_how_far_its_present_lies_from_the_devices(
    tablet: Tablet, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is entered there is of the demonstration's day, and no clock is called wrong for it."""
    monkeypatch.setattr(clock, "_started", NOW)
    monkeypatch.setenv("TIDETALLY_NOW", "2026-10-08T09:00")
    shift = timedelta(seconds=lists(tablet).json()["clock_shift_seconds"])
    assert shift == timedelta(days=2)
    there = NOW + shift
    answer = tablet.one(tablet.entry(lot="G1", n=1, saved_at=there), sent_at=there)
    assert answer["outcome"] == "sent"
    assert "clock" not in {flag["kind"] for flag in answer["flags"]}
    assert tablet.one(tablet.entry(lot="G1", n=2))["flags"][0]["kind"] == "clock"


def test_no_number_of_animals_is_anywhere_in_the_lists(house: TankHouse, tablet: Tablet) -> None:
    """A count stays blind: 4,321,321 gobies more are in the book, and nothing of that number is sent."""
    before = lists(tablet).json()
    make_event("received", lot=house.gobies, place=house.kelp_hall, unknown=4_321_321, happened="2025-01-01")
    after = lists(tablet).json()
    assert after == before
    assert "4321321" not in json.dumps(after)
    assert "4321521" not in json.dumps(after)


def test_lots_that_are_gone_and_lots_of_open_names_are_not_offered(house: TankHouse, tablet: Tablet) -> None:
    tablet.one(tablet.entry(lot="W1", n=1))
    tablet.one(tablet.entry(open_name="set:rays", n=1))
    assert {lot["accession"] for lot in lists(tablet).json()["lots"]} == {"G1", "R1", "R2"}


def test_what_is_used_most_says_so(tablet: Tablet) -> None:
    for n in (1, 2, 3):
        tablet.one(tablet.entry(lot="R1", n=n))
    used = {lot["accession"]: lot["used"] for lot in lists(tablet).json()["lots"]}
    assert (used["R1"], used["G1"]) == (4, 1), "the arrival of each, and three deaths"


def test_cautions_of_an_animal_come_with_it(house: TankHouse, tablet: Tablet) -> None:
    load_lists(PROJECT / "fixtures" / "lists", now=NOW)
    conger = make_lot("C1", taxon=make_taxon("Conger conger", genus="Conger", family="Congridae"))
    make_event("received", lot=conger, place=house.kelp_hall, unknown=1)
    hazards = {lot["accession"]: lot["hazards"] for lot in lists(tablet).json()["lots"]}
    assert hazards["C1"]


def test_the_lists_are_not_sent_again_while_nothing_changed(house: TankHouse, tablet: Tablet) -> None:
    first = lists(tablet)
    assert lists(tablet, **{"If-None-Match": first.headers["ETag"]}).status_code == 304
    tablet.one(tablet.entry("moved", lot="G1", n=1, to_place="Q1"))
    assert lists(tablet, **{"If-None-Match": first.headers["ETag"]}).status_code == 200


def test_the_lists_take_as_many_queries_for_many_lots_as_for_few(house: TankHouse, tablet: Tablet) -> None:
    lists(tablet)
    with CaptureQueriesContext(connection) as few:
        lists(tablet)
    for n in range(12):
        place = make_place(f"X{n}")
        lot = make_lot(taxon=make_taxon(f"Raja numero{n}", look_alike_set="rays"))
        make_event("received", lot=lot, place=place)
        make_person(roles=["aquarist"])
    with CaptureQueriesContext(connection) as many:
        lists(tablet)
    assert len(many) == len(few)


def test_neither_token_nor_code_nor_pass_reaches_the_log(
    tablet: Tablet, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.DEBUG):
        tablet.one(tablet.entry(lot="G1", n=1))
        tablet.one(tablet.entry(lot="G1", n=1, place="E99"))
        tablet.post("entries", "no json")
        tablet.post("persons/check", {"person": tablet.person.pk, "code": CODE})
    assert not any(secret in caplog.text for secret in (tablet.token, tablet.signed))
    assert f'"{CODE}"' not in caplog.text
    assert f"'{CODE}'" not in caplog.text
    kept = json.dumps([[entry.body, entry.answer] for entry in Entry.objects.all()])
    assert tablet.signed not in kept


@pytest.mark.django_db(transaction=True)
def test_the_same_entries_from_two_tabs_at_once_are_taken_once(
    transactional_db: None, house: TankHouse, tablet: Tablet, zone: Any
) -> None:
    """Both tabs send all; each entry is one event, and both tabs hear the same of it."""
    entries = [tablet.entry(lot="G1", n=n + 1) for n in range(8)]
    events = Event.objects.count()

    def tab(_: int) -> list[dict[str, Any]]:
        try:
            other = Tablet(tablet.device, tablet.token, tablet.person, tablet.signed)
            return other.send(*entries)
        finally:
            connections.close_all()

    answers = at_once(tab, range(4))
    assert Event.objects.count() == events + 8
    assert house.held(house.gobies) == 200 - sum(range(1, 9))
    for of_one in zip(*answers, strict=True):
        assert len({answer["event"] for answer in of_one}) == 1
        assert sum(not answer["already"] for answer in of_one) == 1
    assert verify(zone=zone).findings == []


def test_a_closed_period_does_not_stop_the_tank(house: TankHouse, tablet: Tablet, zone: Any) -> None:
    close_period(make_period(), closed_at=NOW - MINUTE, signed_by=house.registrar, zone=zone)
    assert tablet.one(tablet.entry(lot="G1", n=1, happened="2026-09-29"))["outcome"] == "sent"
