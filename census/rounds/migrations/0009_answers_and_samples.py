import django.db.models.deletion
from django.db import migrations, models

from census.rounds.models.checks import WITHOUT_SAMPLE_TRIGGERS
from census.rounds.models.devices import CAME_BACK_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):

    dependencies = [
        ("rounds", "0008_books_of_first_counts"),
    ]

    operations = [
        migrations.CreateModel(
            name="CameBackAnswer",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("outcome", models.CharField(choices=[("typed", "its numbers stand on the sheet"), ("nothing", "nothing of it is to be entered")], max_length=12)),
                ("why", models.CharField(max_length=300)),
                ("at", models.DateTimeField()),
                ("by", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="people.person")),
                ("entry", models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name="came_back_answer", to="rounds.countentry")),
            ],
            options={
                "ordering": ["id"],
                "constraints": [models.CheckConstraint(condition=models.Q(("why", ""), _negated=True), name="came_back_answer_says_why")],
            },
        ),
        migrations.CreateModel(
            name="SignedWithoutSample",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("why", models.CharField(max_length=300)),
                ("at", models.DateTimeField()),
                ("by", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="people.person")),
                ("census", models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="signed_without_sample", to="rounds.census")),
            ],
            options={
                "ordering": ["id"],
                "constraints": [models.CheckConstraint(condition=models.Q(("why", ""), _negated=True), name="signed_without_sample_says_why")],
            },
        ),
        InstallTriggers(*(t.name for t in (*CAME_BACK_TRIGGERS, *WITHOUT_SAMPLE_TRIGGERS))),
    ]
