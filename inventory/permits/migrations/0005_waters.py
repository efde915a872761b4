from django.db import migrations, models

from inventory.db.triggers import InstallTriggers

# SQLite makes the table anew for the column, and drops the triggers with the old one.
OF_VERSIONS = [f"permits_permitversion_no_{what}" for what in ("update", "delete", "truncate")]


class Migration(migrations.Migration):
    dependencies = [
        ("permits", "0004_statements_of_stock"),
    ]

    operations = [
        migrations.AddField(
            model_name="permitversion",
            name="waters",
            field=models.CharField(
                choices=[("sea", "the sea"), ("inland", "lakes and rivers"), ("both", "the sea, lakes and rivers")],
                default="sea",
                help_text="A position on the other side of the shore is doubtful.",
                max_length=6,
            ),
        ),
        InstallTriggers(*OF_VERSIONS),
    ]
