"""The server is killed at random moments under load, and nothing that was acknowledged is lost or doubled."""

import os
import re
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path
from random import Random
from uuid import uuid4

import pytest
from django.conf import settings
from django.db import connection
from pytest_django import DjangoDbBlocker

from inventory.book.models import Event
from inventory.book.rules.drafts import Numbers
from inventory.people.models import Device as EnrolledDevice
from inventory.tankside.actions.take import Received, take_entries
from inventory.tankside.rules.kinds import EntryKind
from inventory.tankside.rules.stated import Stated

from .. import factories
from ..load_of_entries import Device, held_against_the_book, small_house
from ..migrated import copy_of_the_tests_database

ROUNDS = 20


@pytest.fixture
def migrated(tmp_path: Path, django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Path:
    """A copy of the tests' own empty database, for migrations take longer than all rounds."""
    with django_db_blocker.unblock():
        return copy_of_the_tests_database(tmp_path / "migrated")


@pytest.mark.slow
def test_no_acknowledged_entry_is_lost_or_doubled_in_twenty_kills(migrated: Path) -> None:
    """On PostgreSQL some rounds kill the database too."""
    ran = subprocess.run(
        [
            *(sys.executable, "-m", "tests.benchmarks.bench_crash", f"--rounds={ROUNDS}"),
            *(f"--database={connection.vendor}", f"--template={migrated}", "--seed=8"),
        ],
        cwd=settings.PROJECT,
        env={name: value for name, value in os.environ.items() if not name.startswith("DJANGO_SETTINGS")},
        capture_output=True,
        text=True,
        check=False,
        timeout=500,  # twenty rounds take ten seconds on a quiet machine
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr
    told = dict(re.findall(r"^(.*?) {2,}(.+)$", ran.stdout, re.MULTILINE))
    assert told["rounds survived"] == f"{ROUNDS} of {ROUNDS}"
    assert int(told["entries acknowledged"]) >= ROUNDS
    assert told["of these in the book once"] == "all"
    kills = {mode: int(n) for mode, n in told.items() if mode.startswith("killed: ")}
    assert sum(kills.values()) == ROUNDS
    assert len(kills) == (4 if connection.vendor == "postgresql" else 1)


def test_the_check_after_each_kill_tells_what_is_lost_doubled_or_invented(db: None) -> None:
    """Without this, the test above could pass because the check looks at nothing."""
    (device,) = small_house(1, seed=1)
    entry = device.entry()
    assert held_against_the_book([device]) == []
    device.acknowledged[entry["identifier"]] = 999
    assert "in the book it is None" in held_against_the_book([device])[0]

    now = datetime.now(UTC)
    stated = Stated(
        identifier=uuid4(), kind=EntryKind.DIED, saved_at=now, person=device.person, signed=device.signed,
        place="T0", lot="L0", numbers=Numbers(unknown=2),
    )  # fmt: skip
    sent = Received(stated.identifier, "died", {"n": 2}, stated=stated)
    take_entries([sent], device=EnrolledDevice.objects.get(), sent_at=now, now=now, zone=UTC)
    stranger = Device("", device.person, "", Random(1), sent={str(stated.identifier): ("died", 0, 3)})
    wrong = " ".join(held_against_the_book([stranger]))
    assert "nobody sent it" in wrong
    assert "L0: 99998 in the book, 99997 sent" in wrong


def test_an_entry_that_changed_its_number_is_noticed(db: None) -> None:
    (device,) = small_house(1, seed=1)
    factories.make_event("died", lot="L1", place="T1", unknown=1, entered_by="Crash Registrar")
    identifier = str(Event.objects.latest("id").identifier)
    device.sent[identifier] = ("died", 1, 1)
    device.acknowledged[identifier] = Event.objects.latest("id").pk - 1
    assert "was told event" in held_against_the_book([device])[0]
