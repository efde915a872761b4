"""What monitors ask, what the log says, and the page of the machine with its backups and the head to sign."""

import json
import logging
import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, connections
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families
from pypdf import PdfReader
from pytest_django import Settings

from inventory.book.queries.heads import against, head_of_chain
from inventory.people.rules.roles import Role
from inventory.site import health, replica
from inventory.site.backup.retention import name_at
from inventory.site.databases import from_url
from inventory.site.logs import HouseFormatter, settings_for

from .. import factories
from .conftest import SmallHouse

AsRole = Callable[[Role], Client]


@pytest.fixture
def backups(tmp_path: Path, settings: Settings) -> Path:
    settings.BACKUP_FOLDER = tmp_path
    return tmp_path


# Health and readiness


def test_ready_when_an_entry_would_be_kept(db: None, client: Client) -> None:
    response = client.get("/ready")
    assert (response.status_code, response.text) == (200, "ready\n")


def test_not_ready_while_migrations_wait(db: None, client: Client) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'book' AND name = '0001_initial'")
    response = client.get("/ready")
    assert response.status_code == 503
    assert "older than the program: 1 migrations wait" in response.text


def test_a_full_disk_is_told_before_it_is_full(
    db: None, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(health, "room_left", lambda: 3 * 2**20)
    for address in ("/ready", "/health"):
        response = client.get(address)
        assert response.status_code == 503
        assert "3 MiB are left on the disk" in response.text


def test_a_clock_that_was_set_back_is_told(
    small_house: SmallHouse, client: Client, frozen_clock: Any
) -> None:
    assert client.get("/health").status_code == 200
    factories.make_event("born", lot=small_house.wrasses, place=small_house.kelp_hall, unknown=1,
                         now=factories.NOW + timedelta(hours=1))  # fmt: skip
    response = client.get("/health")
    assert response.status_code == 503
    assert "before the last entry" in response.text
    assert client.get("/ready").status_code == 200


def test_health_tells_a_backup_that_grew_old(
    db: None, client: Client, backups: Path, frozen_clock: Any
) -> None:
    assert client.get("/health").status_code == 200
    (backups / name_at(factories.NOW - timedelta(days=4), encrypted=True)).write_bytes(b"x")
    assert "the newest backup is 4 days old" in client.get("/health").text
    (backups / name_at(factories.NOW - timedelta(hours=4), encrypted=True)).write_bytes(b"x")
    assert client.get("/health").text == "ok\n"


# Metrics


def test_figures_are_told_to_this_machine_alone(small_house: SmallHouse, client: Client) -> None:
    client.get("/lot/A1")
    response = client.get("/metrics")
    assert response.status_code == 200
    figures = {
        sample.name: sample.value
        for family in text_string_to_metric_families(response.text)
        for sample in family.samples
        if not sample.labels
    }
    assert figures["tidetally_ledger_events"] == small_house.death.pk
    assert figures["tidetally_disk_free_bytes"] > 0
    assert re.search(
        r'tidetally_requests_total\{method="GET",route="lot",status="302"\} [1-9]', response.text
    )
    assert client.get("/metrics", REMOTE_ADDR="192.0.2.7").status_code == 403
    assert client.get("/metrics", headers={"X-Forwarded-For": "127.0.0.1"}).status_code == 403


def test_with_a_token_the_figures_want_it_from_everybody(
    db: None, client: Client, settings: Settings
) -> None:
    settings.METRICS_TOKEN = "of-the-monitor"
    assert client.get("/metrics").status_code == 403
    assert client.get("/metrics", headers={"Authorization": "Bearer wrong"}).status_code == 403
    right = {"Authorization": "Bearer of-the-monitor"}
    assert client.get("/metrics", headers=right, REMOTE_ADDR="192.0.2.7").status_code == 200


# Logs


@pytest.fixture
def lines() -> Iterator[Callable[[], list[dict[str, Any]]]]:
    """What would stand in the machine's log."""
    written: list[str] = []
    handler = logging.Handler()
    handler.setFormatter(HouseFormatter())
    handler.emit = lambda record: written.append(handler.format(record))  # type: ignore[method-assign]
    loggers = [logging.getLogger(), logging.getLogger("inventory.site.observing")]
    before = loggers[1].level
    loggers[0].addHandler(handler)
    loggers[1].setLevel(logging.INFO)
    yield lambda: [json.loads(line) for line in written]
    loggers[0].removeHandler(handler)
    loggers[1].setLevel(before)


def test_each_request_is_one_line_of_json_that_names_the_route(
    small_house: SmallHouse, as_role: AsRole, lines: Callable[[], list[dict[str, Any]]]
) -> None:
    response = as_role(Role.REGISTRAR).get("/lots?text=Thole")
    (line,) = [line for line in lines() if line["message"] == "answered"]
    assert line["request"] == response.headers["X-Request-ID"]
    assert (line["route"], line["method"], line["status"]) == ("lots", "GET", 200)
    assert line["ms"] >= 0
    assert set(line) == {"time", "level", "logger", "message", "request", "route", "method", "status", "ms"}


def test_no_line_holds_a_name_an_address_or_what_was_typed(
    small_house: SmallHouse, as_role: AsRole, lines: Callable[[], list[dict[str, Any]]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    client = as_role(Role.REGISTRAR)
    client.raise_request_exception = False
    client.get("/lots?text=Thole")
    client.get("/place/Nobodys-Pool")
    client.post("/sign-in", {"username": "Thole", "password": "Labrus-secret"})

    def raises(*words: object, **named: object) -> None:
        raise ValueError("Thole was typed here")

    monkeypatch.setattr("inventory.site.views.last_entries", raises)
    assert client.get("/").status_code == 500
    logging.getLogger("somebody.elses").warning("who: %s", "The registrar")
    text = json.dumps(lines())
    for private in ("Thole", "Labrus", "Nobodys", "registrar", "127.0.0.1"):
        assert private not in text, private
    (fault,) = [line for line in lines() if line.get("error") == "ValueError"]
    assert any("test_machine.py" in frame for frame in fault["where"])
    assert fault["request"]


def test_the_settings_of_the_log_write_one_line_in_either_form(capsys: pytest.CaptureFixture[str]) -> None:
    for form in ("json", "plain"):
        told = settings_for(form)
        assert told["handlers"]["stderr"]["formatter"] == form
        assert (told["loggers"]["inventory.site.observing"]["level"] == "INFO") is (form == "json")


# The page of the machine


def test_the_administrator_is_asked_for_a_backup_and_nobody_else(
    small_house: SmallHouse, as_role: AsRole, backups: Path, frozen_clock: Any
) -> None:
    page = as_role(Role.ADMINISTRATOR).get("/").text
    yours = page[page.index("What concerns you") : page.index("Last entries")]
    assert "there is no backup yet" in yours
    (backups / name_at(factories.NOW - timedelta(days=3), encrypted=False)).write_bytes(b"x")
    assert "the newest backup is 3 days old" in as_role(Role.ADMINISTRATOR).get("/").text
    theirs = as_role(Role.AQUARIST).get("/").text
    assert "the newest backup" not in theirs.split("What others look into")[0]
    (backups / name_at(factories.NOW, encrypted=False)).write_bytes(b"x")
    assert "newest backup" not in as_role(Role.ADMINISTRATOR).get("/").text


def test_the_page_lists_the_backups_and_what_is_wrong(
    small_house: SmallHouse, as_role: AsRole, backups: Path, frozen_clock: Any
) -> None:
    empty = as_role(Role.ADMINISTRATOR).get("/machine").text
    assert "There is no backup in" in empty
    assert "The machine is well" in empty
    (backups / name_at(factories.NOW - timedelta(days=3), encrypted=True)).write_bytes(b"x" * 2048)
    page = as_role(Role.ADMINISTRATOR).get("/machine").text
    assert "<caption>1 backup in" in page
    assert "the newest backup is 3 days old" in page
    assert "2.0\xa0KB" in page
    assert as_role(Role.AQUARIST).get("/machine").status_code == 403


def test_the_head_of_the_chain_is_printed_to_be_signed_and_checked(
    small_house: SmallHouse, as_role: AsRole, frozen_clock: Any
) -> None:
    client = as_role(Role.REGISTRAR)
    response = client.get("/machine/head.pdf")
    assert response.headers["Content-Type"] == "application/pdf"
    assert response.headers["Content-Disposition"].startswith("attachment")
    (page,) = PdfReader(BytesIO(response.content)).pages
    text = page.extract_text()
    assert "Skerry Aquarium" in text
    assert text.count("Name, date, signature") == 2
    typed = re.sub(r"\s", "", text)
    number, _, told = head_of_chain().partition(":")
    assert f"{number}:{told}" in typed
    # In groups of eight, as somebody types it off; letter by letter it is the head.
    groups = re.findall(r"\b[0-9a-f]{8}\b", text)
    assert "".join(groups[:8]) == told
    assert against(f"{number}:{''.join(groups[:8])}") == ""
    assert client.get("/machine/head.pdf").content == response.content


# Databases by the environment


def test_postgresql_gets_patience_a_pool_and_a_copy_that_is_only_read(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plain = from_url("postgres://house@/tides")
    assert plain["OPTIONS"]["options"] == "-c lock_timeout=20000"
    assert plain["CONN_MAX_AGE"] == 60
    assert "pool" not in plain["OPTIONS"]
    monkeypatch.setattr("inventory.site.databases.POOL", 6)
    pooled = from_url("postgres://house@/tides")
    assert pooled["OPTIONS"]["pool"] == {"min_size": 1, "max_size": 6, "timeout": 20}
    assert pooled["CONN_MAX_AGE"] == 0
    assert (
        "default_transaction_read_only=on"
        in from_url("postgres://h@/t", only_read=True)["OPTIONS"]["options"]
    )


@pytest.fixture
def copied(small_house: SmallHouse) -> Iterator[list[str]]:
    """A second alias of the same database; answers what was asked through it."""
    asked: list[str] = []

    class Copy:
        """The tests' connection under another alias, which notes that it was used."""

        def __init__(self, real: Any) -> None:
            self._real = real

        def __getattr__(self, name: str) -> Any:
            if name in ("cursor", "chunked_cursor"):
                asked.append(name)
            return getattr(self._real, name)

        def ensure_connection(self) -> None:
            asked.append("opened")

    connections.settings[replica.ALIAS] = {**connections.settings["default"]}
    connections[replica.ALIAS] = Copy(connections["default"])  # type: ignore[assignment]
    yield asked
    del connections[replica.ALIAS]
    del connections.settings[replica.ALIAS]


def test_reports_are_read_from_the_copy_and_everything_else_from_the_original(
    copied: list[str], as_role: AsRole
) -> None:
    client = as_role(Role.REGISTRAR)
    original = connections["default"]
    assert client.get("/lots").status_code == 200
    assert copied == []
    for address in ("/change", "/reports/stock-list"):
        copied.clear()
        assert client.get(address).status_code == 200
        assert copied[0] == "opened"
        assert "cursor" in copied or "chunked_cursor" in copied
        assert connections["default"] is original
    copied.clear()
    assert Client().get("/change").status_code == 302
    assert copied == []


def test_a_copy_that_does_not_answer_is_passed_over(
    copied: list[str], as_role: AsRole, monkeypatch: pytest.MonkeyPatch
) -> None:
    from django.db import OperationalError

    def refuses() -> None:
        raise OperationalError("no way to the copy")

    monkeypatch.setattr(connections[replica.ALIAS], "ensure_connection", refuses, raising=False)
    assert as_role(Role.REGISTRAR).get("/change").status_code == 200
    assert "cursor" not in copied


def test_every_route_that_is_read_from_the_copy_is_a_route() -> None:
    from django.urls import get_resolver

    assert set(get_resolver().reverse_dict) >= replica.READERS
