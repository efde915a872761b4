"""A database of an older program is brought up to date, triggers included."""

import pytest
from django.core.checks import Error
from django.core.management import call_command
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder

from inventory.db import triggers
from inventory.db.checks import triggers_are_in_place

LAST = ("book", "0008_ways_out")
OF_IT = [name for name in triggers.DECLARED if name.endswith("_revises")]


@pytest.mark.django_db
def test_a_trigger_that_a_waiting_step_brings_is_no_error_and_one_that_was_lost_is() -> None:
    assert OF_IT
    triggers.remove(connection, OF_IT)
    try:
        lost = triggers_are_in_place(None, databases=["default"])
        assert {message.id for message in lost if isinstance(message, Error)} == {"db.E001"}
        MigrationRecorder(connection).record_unapplied(*LAST)
        assert triggers_are_in_place(None, databases=["default"]) == []
    finally:
        MigrationRecorder(connection).record_applied(*LAST)
        triggers.install(connection, OF_IT)
    call_command("check", databases=["default"])
