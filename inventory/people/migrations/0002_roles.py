"""One group for each role. Written out, so that the migration stays what it was."""

from typing import Any

from django.db import migrations

ROLES = (
    "counter",
    "aquarist",
    "typist",
    "registrar",
    "permit_officer",
    "curator",
    "veterinarian",
    "inspector",
    "administrator",
)


def create_groups(apps: Any, schema_editor: Any) -> None:
    group = apps.get_model("auth", "Group")
    for name in ROLES:
        group.objects.get_or_create(name=name)


class Migration(migrations.Migration):
    dependencies = [
        ("people", "0001_initial"),
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [migrations.RunPython(create_groups, migrations.RunPython.noop)]
