from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("rounds", "0009_answers_and_samples"),
    ]

    operations = [
        migrations.AddField(
            model_name="census",
            name="classes",
            field=models.CharField(
                default="ABCD", help_text="The count classes that this census counts.", max_length=4
            ),
        ),
    ]
