import django.db.models.deletion
from django.db import migrations, models

from census.reports.models import COLUMNS_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("people", "0001_initial"),
    ]

    operations = [
        migrations.CreateModel(
            name="StockListColumns",
            fields=[
                (
                    "id",
                    models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID"),
                ),
                ("headings", models.JSONField(help_text="Column of the change to heading, every column once.")),
                ("since", models.DateTimeField()),
                ("why", models.CharField(blank=True, max_length=300)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="people.person"
                    ),
                ),
            ],
            options={"ordering": ["since", "id"]},
        ),
        InstallTriggers(*(trigger.name for trigger in COLUMNS_TRIGGERS)),
    ]
