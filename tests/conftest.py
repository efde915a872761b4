"""What every test may use: the moment, the zone, and a database that can be emptied."""

import os
import shutil
import threading
from collections.abc import Iterator
from datetime import datetime, tzinfo
from typing import TYPE_CHECKING, Any

import pytest
import time_machine
from django.core.management import call_command
from django.db import connection
from django.test import TransactionTestCase
from django.utils import timezone
from hypothesis import HealthCheck, settings
from pytest_django import DjangoDbBlocker

from inventory.db import triggers

from . import factories

if TYPE_CHECKING:
    from .demo.built import Built

# The same examples on every run in CI, so that a red run is red for everybody; random ones at home.
# Eight test processes on two cores: how long an example takes says nothing here.
_SLOW_MACHINES = (HealthCheck.too_slow,)
settings.register_profile(
    "house_ci", derandomize=True, deadline=None, print_blob=True, suppress_health_check=_SLOW_MACHINES
)
settings.register_profile("house", deadline=None, print_blob=True, suppress_health_check=_SLOW_MACHINES)
settings.load_profile("house_ci" if os.environ.get("CI") else "house")


# Of this run, in the process that hands the tests out.
_crashed: set[str] = set()


@pytest.fixture
def ledger_now() -> datetime:
    """The moment at which the tests' house lives: 2026-10-06 09:00 there."""
    return factories.NOW


@pytest.fixture
def zone() -> tzinfo:
    """The house's zone."""
    return timezone.get_current_timezone()


@pytest.fixture
def frozen_clock() -> Iterator[datetime]:
    """The clock stands at the tests' moment, for views and commands that ask it."""
    with time_machine.travel(factories.NOW, tick=False):
        yield factories.NOW


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """Lets ``transactional_db`` and ``live_server`` empty the tables, which the triggers refuse.

    What the migrations made (outside accounts, role groups) is put back, and the triggers after it,
    so that such a test leaves the database as it found it.
    """
    with django_db_blocker.unblock():
        as_migrated = connection.creation.serialize_db_to_string()

    def empty_and_restore(test_case: Any) -> None:
        _let_end("alarm post", "reports")
        triggers.remove(connection, triggers.DECLARED)
        try:
            # No post_migrate: what it would create is among the rows that are put back. Sequences run
            # on, for the rows that are put back keep their numbers.
            call_command(
                "flush", verbosity=0, interactive=False, inhibit_post_migrate=True, reset_sequences=False
            )
            connection.creation.deserialize_db_from_string(as_migrated)
        finally:
            triggers.install(connection, triggers.DECLARED)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", empty_and_restore)
        yield


@pytest.fixture(scope="session")
def demo_built(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator["Built"]:
    """The demo house in a database of its own, built once in this process (``house`` leads to it)."""
    from .demo.built import built

    with django_db_blocker.unblock(), built() as demo:
        yield demo


@pytest.fixture(scope="session")
def chromium() -> str:
    """Path of the browser that the tests drive."""
    path = _chromium()
    assert path, "no chromium on this machine; install Debian's package chromium"
    return path


def pytest_runtest_setup(item: pytest.Item) -> None:
    """A machine without a browser skips its tests, unless TIDETALLY_REQUIRE_BROWSER=1 says it must not."""
    if item.get_closest_marker("browser") and not _chromium():
        if os.environ.get("TIDETALLY_REQUIRE_BROWSER") == "1":
            pytest.fail("TIDETALLY_REQUIRE_BROWSER=1, and no chromium on this machine", pytrace=False)
        pytest.skip("no chromium on this machine: install Debian's package chromium")


@pytest.hookimpl(optionalhook=True)
def pytest_handlecrashitem(crashitem: str, report: pytest.TestReport, sched: Any) -> None:
    """A test that did not end, or whose process died, is tried once more; the summary names it (-r R).

    Only that: one that ended and failed has failed. Those of the browser are tried again elsewhere.
    """
    if crashitem not in _crashed and not crashitem.startswith("tests/browser/"):
        _crashed.add(crashitem)
        sched.mark_test_pending(crashitem)
        report.outcome = "rerun"  # type: ignore[assignment]  # a word of pytest-rerunfailures


def _let_end(*names: str) -> None:
    """Waits, for a while, for threads that the product left behind: they write where tables are emptied."""
    for thread in threading.enumerate():
        if thread.name in names:
            thread.join(timeout=20)


def _chromium() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
