"""What will pass is told as that: a page or an answer of 503 in words that a keeper understands."""

import errno
import sqlite3
from collections.abc import Callable

import psycopg
import pytest
from django.db import InterfaceError, OperationalError, ProgrammingError
from django.test import Client

from inventory.doors.troubles import TROUBLES, Kind, trouble_of
from inventory.people.rules.roles import Role
from inventory.site import views

from .conftest import SmallHouse

AsRole = Callable[[Role], Client]


def _sqlite(words: str, name: str = "") -> OperationalError:
    error, cause = OperationalError(words), sqlite3.OperationalError(words)
    if name:
        cause.sqlite_errorname = name
    error.__cause__ = cause
    return error


def _postgresql(kind: type[psycopg.Error], made: type[Exception] = OperationalError) -> Exception:
    error = made("said by the server")
    error.__cause__ = kind("said by the server")
    return error


@pytest.mark.parametrize(
    ("error", "kind"),
    [
        (_sqlite("database or disk is full", "SQLITE_FULL"), Kind.FULL),
        (_sqlite("disk I/O error", "SQLITE_IOERR_WRITE"), Kind.DISK),
        (_sqlite("attempt to write a readonly database", "SQLITE_READONLY_DBMOVED"), Kind.READ_ONLY),
        (_sqlite("database is locked", "SQLITE_BUSY"), Kind.BUSY),
        (_sqlite("unable to open database file", "SQLITE_CANTOPEN"), Kind.AWAY),
        (_sqlite("no such table: book_event", "SQLITE_ERROR"), Kind.OLDER),
        (_postgresql(psycopg.errors.DiskFull), Kind.FULL),
        (_postgresql(psycopg.errors.IoError), Kind.DISK),
        (_postgresql(psycopg.errors.ReadOnlySqlTransaction), Kind.READ_ONLY),
        (_postgresql(psycopg.errors.LockNotAvailable), Kind.BUSY),
        (_postgresql(psycopg.errors.DeadlockDetected), Kind.BUSY),
        (_postgresql(psycopg.errors.SerializationFailure), Kind.BUSY),
        (_postgresql(psycopg.errors.AdminShutdown), Kind.AWAY),
        (_postgresql(psycopg.errors.TooManyConnections), Kind.AWAY),
        (_postgresql(psycopg.OperationalError), Kind.AWAY),
        (_postgresql(psycopg.errors.UndefinedTable, ProgrammingError), Kind.OLDER),
        (_postgresql(psycopg.errors.UndefinedColumn, ProgrammingError), Kind.OLDER),
        (InterfaceError("connection already closed"), Kind.AWAY),
        (OSError(errno.ENOSPC, "No space left on device"), Kind.FULL),
        (OSError(errno.EROFS, "Read-only file system"), Kind.READ_ONLY),
    ],
    ids=lambda it: it if isinstance(it, Kind) else type(getattr(it, "__cause__", it) or it).__name__,
)
def test_a_trouble_is_told_by_what_the_database_said(error: Exception, kind: Kind) -> None:
    """SQLite's result codes and SQLSTATEs (PostgreSQL, appendix A), through the drivers' own classes."""
    trouble = trouble_of(error)
    assert trouble
    assert trouble.kind is kind


@pytest.mark.parametrize(
    "error",
    [
        ValueError("a fault"),
        OSError(errno.ENOENT, "no such file"),
        _sqlite('near "SELEC": syntax error', "SQLITE_ERROR"),
        _postgresql(psycopg.errors.SyntaxError, ProgrammingError),
        _postgresql(psycopg.errors.InternalError_),
        None,
    ],
)
def test_a_fault_of_the_program_is_no_trouble_that_passes(error: Exception | None) -> None:
    assert trouble_of(error) is None


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> Callable[[Exception], None]:
    """Makes the first page and the interface raise an error."""

    def breaks(error: Exception) -> None:
        def raises(*words: object, **named: object) -> None:
            raise error

        monkeypatch.setattr(views, "last_entries", raises)
        monkeypatch.setattr("inventory.tankside.api.device_of", raises)

    return breaks


@pytest.mark.parametrize("kind", list(Kind))
def test_a_page_tells_the_trouble_and_its_remedy(
    small_house: SmallHouse, as_role: AsRole, broken: Callable[[Exception], None], kind: Kind
) -> None:
    names = {
        Kind.FULL: "SQLITE_FULL", Kind.DISK: "SQLITE_IOERR", Kind.READ_ONLY: "SQLITE_READONLY",
        Kind.BUSY: "SQLITE_BUSY", Kind.AWAY: "SQLITE_CANTOPEN",
    }  # fmt: skip
    words = "no such column: x" if kind is Kind.OLDER else "said"
    broken(_sqlite(words, names.get(kind, "SQLITE_ERROR")))
    client = as_role(Role.AQUARIST)
    client.raise_request_exception = False
    response = client.get("/")
    assert response.status_code == 503
    assert response.headers["Retry-After"] == "30"
    assert "Content-Security-Policy" in response.headers
    page = response.text.replace("&#x27;", "'")
    assert TROUBLES[kind].words in page
    assert TROUBLES[kind].remedy in page
    assert "sends it again by itself" in page


def test_the_interface_tells_a_device_to_send_again(
    db: None, client: Client, broken: Callable[[Exception], None]
) -> None:
    broken(_sqlite("database is locked", "SQLITE_BUSY"))
    client.raise_request_exception = False
    response = client.get("/api/v1/tank-side", headers={"Authorization": "Bearer of-a-device"})
    assert (response.status_code, response.json()["reason"]) == (503, "busy")
    assert response.json()["detail"] == TROUBLES[Kind.BUSY].words


def test_a_fault_stays_a_fault(
    small_house: SmallHouse, as_role: AsRole, broken: Callable[[Exception], None]
) -> None:
    broken(ValueError("a fault with somebody's name in it"))
    client = as_role(Role.AQUARIST)
    client.raise_request_exception = False
    page = client.get("/")
    assert page.status_code == 500
    assert "Something went wrong on our side" in page.text
    said = client.get("/api/v1/tank-side", headers={"Authorization": "Bearer of-a-device"})
    assert (said.status_code, said.json()["reason"]) == (500, "fault")
    for answer in (page, said):
        assert "somebody's name" not in answer.text


def test_the_page_of_a_trouble_needs_no_database(client: Client, broken: Callable[[Exception], None]) -> None:
    """No fixture of the database here: a query would be refused by the tests."""
    broken(_sqlite("unable to open database file", "SQLITE_CANTOPEN"))
    client.raise_request_exception = False
    response = client.get("/api/v1/tank-side", headers={"Authorization": "Bearer of-a-device"})
    assert response.status_code == 503
