"""Counts and decisions are append-only, in the database itself."""

from django.db import migrations

from census.rounds.models.counts import COUNT_TRIGGERS
from census.rounds.models.decisions import DECISION_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):
    dependencies = [("rounds", "0001_initial")]

    operations = [InstallTriggers(*(t.name for t in (*COUNT_TRIGGERS, *DECISION_TRIGGERS)))]
