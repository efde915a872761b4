from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("tankside", "0004_bags_are_used_again")]

    operations = [
        migrations.AddField(
            model_name="alarm",
            name="undone_at",
            field=models.DateTimeField(
                blank=True,
                help_text="When so many deaths were taken back that it is none any more.",
                null=True,
            ),
        )
    ]
