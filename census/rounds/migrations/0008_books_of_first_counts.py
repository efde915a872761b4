import django.db.models.deletion
from django.db import migrations, models

from census.rounds.models.comparisons import COMPARISON_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):

    dependencies = [
        ("rounds", "0007_first_compared"),
    ]

    operations = [
        migrations.CreateModel(
            name="FirstCompared",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "book",
                    models.IntegerField(help_text="Animals present at the count moment, as the book had them then."),
                ),
                ("compared_at", models.DateTimeField()),
                (
                    "line",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="first_compared",
                        to="rounds.line",
                    ),
                ),
            ],
            options={"ordering": ["id"]},
        ),
        InstallTriggers(*(t.name for t in COMPARISON_TRIGGERS)),
    ]
