import django.db.models.deletion
from django.db import migrations, models

from inventory.db.triggers import InstallTriggers
from inventory.people.models.erasures import ERASURE_TRIGGERS


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0003_devices_and_codes"),
    ]

    operations = [
        migrations.CreateModel(
            name="Erasure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("reason", models.CharField(max_length=300)),
                ("by", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="people.person")),
                ("person", models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name="erasure", to="people.person")),
            ],
            options={
                "ordering": ["at", "id"],
            },
        ),
        InstallTriggers(*(trigger.name for trigger in ERASURE_TRIGGERS)),
    ]
