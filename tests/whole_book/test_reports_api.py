"""Reports over the interface: the figures of the pages, paged, described, with the same rights."""

from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from openapi_spec_validator import OpenAPIV31SpecValidator

from inventory.book import blind
from inventory.book.queries.heads import head_of_chain
from inventory.people.actions.devices import give_token, make_device, revoke
from inventory.people.models import DeviceScope, Person
from inventory.permits.queries.accounts import account
from tests.factories import NOW, make_event, make_house, make_lot, make_person, make_place, make_taxon
from tests.permits.house import a_take, make_permit_house

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("frozen_clock")]

ROUTES = ("change", "stock", "permits", "events")
QUARTER = {"first_day": "2026-07-01", "last_day": "2026-09-30"}
FIGURE = {**QUARTER, "figure": "died", "unit": "animal"}


def _token(scope: DeviceScope = DeviceScope.REPORTS) -> Client:
    by = make_person(roles=["registrar"])
    device = make_device(name=f"Reader {scope}", scope=scope, by=by, now=NOW)
    return Client(headers={"Authorization": f"Bearer {give_token(device, by=by, now=NOW).token}"})


@pytest.fixture
def program() -> Client:
    """A program with a token for reports, in a house with some animals."""
    make_house()
    place = make_place("E01")
    for n in range(5):
        lot = make_lot(f"A-{n}", taxon=make_taxon(f"Exemplum q{n}"))
        make_event("received", lot=lot, place=place, males=3, females=4, happened="2026-07-10")
        make_event("died", lot=lot, place=place, males=1, happened="2026-08-10", cause="injury")
    return _token()


def _get(client: Client, route: str, **query: Any) -> Any:
    answer = client.get(f"/api/v1/reports/{route}", query)
    assert answer.status_code == 200, answer.content
    return answer.json()


def test_a_population_change_is_that_of_the_page(program: Client) -> None:
    told = _get(program, "change", **QUARTER)

    assert told["total"] == 5
    assert told["ties"]
    assert told["head"] == head_of_chain()
    figures = told["rows"][0]["figures"]
    assert (figures["opening"], figures["received"], figures["died"], figures["closing"]) == (0, 7, 1, 6)
    assert told["totals"]["animal"]["closing"] == 30
    assert told["rows"][0]["closing_mfu"] == "2.4.0"


@pytest.mark.parametrize("known_at", ["2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z"])
def test_a_moment_in_the_hour_that_comes_twice_is_a_moment(program: Client, known_at: str) -> None:
    """The clocks of the house go back at 01:00 UTC: without its offset it could be either."""
    assert _get(program, "change", known_at=known_at, **QUARTER)["total"] == 5


def test_a_figure_opens_its_events_and_their_sum_is_the_figure(program: Client) -> None:
    row = _get(program, "change", by="place", **QUARTER)["rows"][0]

    told = _get(program, "events", by="place", taxon=row["taxon"], group=row["group"], **FIGURE)

    assert told["figure"] == row["figures"]["died"] == sum(one["counts"] for one in told["rows"])
    assert told["rows"][0]["reason"] == "injury"
    assert (told["rows"][0]["from_account"], told["rows"][0]["to_account"]) == ("E01", "died")


def test_the_range_of_a_birth_is_told_to_a_program_and_on_the_page(program: Client, client: Client) -> None:
    make_event("born", unknown=40, at_least=30, at_most=60, happened="2026-08-11")
    asked = {**QUARTER, "figure": "born", "unit": "animal"}

    (row,) = _get(program, "events", **asked)["rows"]
    assert (row["counts"], row["at_least"], row["at_most"]) == (40, 30, 60)
    (other, *_) = _get(program, "events", **FIGURE)["rows"]
    assert (other["at_least"], other["at_most"]) == (None, None)

    person = make_person(roles=["curator"])
    assert person.user is not None
    client.force_login(person.user)
    assert "its number: between 30 and 60" in client.get("/change/events", asked).content.decode()


def test_the_stock_and_the_permits_are_answered(program: Client) -> None:
    told = _get(program, "stock", by="place", as_of="2026-09-30")

    assert [(one["label"], one["males"], one["total"]) for one in told["rows"]] == [("E01", 10, 30)]
    assert _get(program, "stock", as_of="2026-07-31", by="place")["rows"][0]["total"] == 35
    assert _get(program, "permits")["rows"] == []


def test_a_list_is_paged_to_its_end_and_every_row_comes_once(program: Client) -> None:
    names: list[str] = []
    address = "/api/v1/reports/change?first_day=2026-07-01&last_day=2026-09-30&limit=2"
    while address:
        assert len(names) <= 5, "the pages have no end"
        told = program.get(address).json()
        names += [row["name"] for row in told["rows"]]
        address = told["next"]

    assert names == [f"Exemplum q{n}" for n in range(5)]


@pytest.mark.parametrize("route", ROUTES)
def test_nobody_and_the_tokens_of_others_are_let_in(program: Client, route: str) -> None:
    query = FIGURE if route == "events" else {}

    assert Client().get(f"/api/v1/reports/{route}", query).status_code == 401
    sensor = _token(DeviceScope.READINGS)
    assert sensor.get(f"/api/v1/reports/{route}", query).json()["reason"] == "scope"
    assert program.post("/api/v1/entries", {}, content_type="application/json").status_code == 403


def test_a_revoked_token_opens_nothing(program: Client) -> None:
    from inventory.people.models import Device

    revoke(Device.objects.get(), by=make_person(), now=NOW)

    assert program.get("/api/v1/reports/stock").json()["reason"] == "revoked"


def test_a_person_reads_by_the_sign_in_and_not_after_leaving(program: Client, client: Client) -> None:
    person = make_person(roles=["curator"])
    _sign_in(client, person)
    assert _get(client, "stock")["total"] == 5

    person.left_on = NOW.date()
    person.save()
    assert client.get("/api/v1/reports/stock").status_code == 403


@pytest.mark.parametrize("route", ROUTES)
def test_no_figure_is_told_while_a_tank_is_counted(
    program: Client, client: Client, route: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    query = FIGURE if route == "events" else {}
    person = make_person(roles=["aquarist"])
    _sign_in(client, person)
    monkeypatch.setattr(blind, "_ASKED", [lambda who: {1} if who == person else set()])
    monkeypatch.setattr(blind, "_ASKED_OF_ALL", [lambda: {1}])

    for who in (program, client):
        answer = who.get(f"/api/v1/reports/{route}", query)
        assert (answer.status_code, answer.json()["reason"]) == (403, "counting")


@pytest.mark.parametrize(
    ("route", "query"),
    [
        ("change", {"first_day": "2026-09-30", "last_day": "2026-07-01"}),
        ("change", {"first_day": "0001-01-01"}),
        ("change", {"limit": "0"}),
        ("change", {"known_at": "9999-12-31T23:59"}),
        ("events", {**FIGURE, "figure": "invented"}),
        ("stock", {"by": "moon"}),
        ("permits", {"permit": "a\x00b"}),
    ],
)
def test_what_cannot_be_read_is_said_in_words(program: Client, route: str, query: dict[str, str]) -> None:
    answer = program.get(f"/api/v1/reports/{route}", query)

    assert (answer.status_code, answer.json()["reason"]) == (422, "unreadable")


@pytest.mark.parametrize("route", ROUTES)
def test_the_number_of_queries_does_not_grow_with_the_rows(program: Client, route: str) -> None:
    query = FIGURE if route == "events" else {}
    _get(program, route, **query)
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as queries:
            _get(program, route, **query)
        counts.append(len(queries))
        place = make_place()
        for _ in range(8):
            lot = make_lot()
            make_event("received", lot=lot, place=place, unknown=9, happened="2026-07-10")
            make_event("died", lot=lot, place=place, unknown=1, happened="2026-08-11")

    assert counts[0] == counts[1] < 40


def test_the_interface_describes_the_reports(program: Client) -> None:
    spec = program.get("/api/v1/openapi.json").json()

    OpenAPIV31SpecValidator(spec).validate()
    for route in ROUTES:
        told = spec["paths"][f"/api/v1/reports/{route}"]["get"]
        assert all(one.get("description") or one["schema"].get("description") for one in told["parameters"])
        assert {"200", "401", "403", "422"} <= set(told["responses"])
    for name in (
        "ChangeOut",
        "ChangeRowOut",
        "StockOut",
        "StockRowOut",
        "PermitsOut",
        "PermitRowOut",
        "EventRowOut",
    ):
        fields = spec["components"]["schemas"][name]["properties"]
        assert all(one.get("description") for one in fields.values()), name


def test_the_permits_table_is_the_account_of_the_permit(client: Client) -> None:
    house = make_permit_house()
    house.record(a_take("Asterias rubens", 2))
    _sign_in(client, house.officer)

    rows = _get(client, "permits")["rows"]

    found = account(house.permit, as_of=timezone.localdate(house.now), zone=house.zone)
    assert [(row["line"], row["caught"], row["kept"], row["left"]) for row in rows] == [
        (line.number, line.used.caught, line.used.kept, line.used.left) for line in found.lines
    ]
    assert sum(row["kept"] for row in rows) > 0
    assert _get(client, "permits", permit=house.permit.number)["total"] == len(rows)
    assert _get(client, "permits", permit="another")["total"] == 0


def _sign_in(client: Client, person: Person) -> None:
    assert person.user is not None
    client.force_login(person.user)
