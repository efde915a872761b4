"""Decisions and the history of names are append-only by the database's own rule."""

from django.db import migrations

from inventory.db.triggers import InstallTriggers
from inventory.names.models.checks import CHECK_TRIGGERS
from inventory.names.models.taxon import TAXON_TRIGGERS


class Migration(migrations.Migration):
    dependencies = [("names", "0001_initial")]

    operations = [
        InstallTriggers(*(trigger.name for trigger in (*CHECK_TRIGGERS, *TAXON_TRIGGERS))),
    ]
