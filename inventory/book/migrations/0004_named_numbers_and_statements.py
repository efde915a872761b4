"""Named numbers with their history; the boundary and the papers of each closing."""

from typing import Any

import django.db.models.deletion
from django.db import connections, migrations, models
from django.utils import timezone

from inventory.book.models.periods import PERIOD_TRIGGERS, STATEMENT_TRIGGERS
from inventory.book.models.settings import SETTING_TRIGGERS
from inventory.book.rules.happened import end_of_day
from inventory.db import triggers
from inventory.db.triggers import InstallTriggers


def fill_boundaries(apps: Any, schema_editor: Any) -> None:
    """Closings made before had the boundary of the zone that the house has now."""
    connection = connections[schema_editor.connection.alias]
    triggers.remove(connection, [trigger.name for trigger in PERIOD_TRIGGERS])
    version = apps.get_model("book", "PeriodVersion")
    for one in version.objects.select_related("period"):
        boundary = end_of_day(one.period.ends_on, timezone.get_current_timezone())
        version.objects.filter(pk=one.pk).update(boundary=boundary)


class Migration(migrations.Migration):
    dependencies = [("people", "0002_roles"), ("book", "0003_documents_and_keepers")]

    operations = [
        migrations.AddField("periodversion", "boundary", models.DateTimeField(null=True)),
        migrations.RunPython(fill_boundaries, migrations.RunPython.noop),
        migrations.AlterField(
            "periodversion",
            "boundary",
            models.DateTimeField(
                help_text="The first moment after the period's last day, as it was when this was closed."
            ),
        ),
        migrations.CreateModel(
            name="Setting",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60)),
                ("value", models.IntegerField()),
                ("since", models.DateTimeField()),
                ("why", models.CharField(blank=True, max_length=300)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="settings_changed",
                        to="people.person",
                    ),
                ),
            ],
            options={
                "ordering": ["since", "id"],
                "indexes": [models.Index(fields=["name", "since"], name="book_setting_name_since")],
            },
        ),
        migrations.CreateModel(
            name="VersionStatement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=60)),
                ("media_type", models.CharField(max_length=100)),
                ("content", models.BinaryField()),
                ("sha256", models.CharField(max_length=64)),
                (
                    "version",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="statements",
                        to="book.periodversion",
                    ),
                ),
            ],
            options={"ordering": ["version", "id"]},
        ),
        migrations.AddConstraint(
            "versionstatement",
            models.UniqueConstraint(fields=["version", "name"], name="version_statement_is_unique"),
        ),
        InstallTriggers(
            *(t.name for t in (*PERIOD_TRIGGERS, *STATEMENT_TRIGGERS, *SETTING_TRIGGERS))
        ),
    ]
