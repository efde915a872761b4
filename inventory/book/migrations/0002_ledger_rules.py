"""The database's own rules of the ledger, and the fixed outside accounts."""

from typing import Any

from django.db import migrations

from inventory.book.models.cells import CELL_TRIGGERS
from inventory.book.models.events import EVENT_TRIGGERS
from inventory.book.models.periods import PERIOD_TRIGGERS
from inventory.book.rules.kinds import OUTSIDE_CAUSES
from inventory.db.triggers import InstallTriggers


def create_outside_accounts(apps: Any, schema_editor: Any) -> None:
    account = apps.get_model("book", "Account")
    account.objects.bulk_create([account(cause=cause) for cause in OUTSIDE_CAUSES])


def create_place_held_by_others(apps: Any, schema_editor: Any) -> None:
    """Every house has one place for what is lent out, so that a loan needs no setting up."""
    place = apps.get_model("book", "Place").objects.create(
        code="LO", name="Held by others", kind="off_site"
    )
    apps.get_model("book", "Account").objects.create(place=place)


class Migration(migrations.Migration):
    dependencies = [("book", "0001_initial")]

    operations = [
        migrations.RunPython(create_outside_accounts, migrations.RunPython.noop),
        migrations.RunPython(create_place_held_by_others, migrations.RunPython.noop),
        InstallTriggers(*(trigger.name for trigger in (*CELL_TRIGGERS, *EVENT_TRIGGERS, *PERIOD_TRIGGERS))),
    ]
