"""When a census was first compared is kept; of earlier ones the first decision tells it best."""

from django.db import migrations, models
from django.db.models import Min


def from_first_decisions(apps, schema_editor):
    Decision = apps.get_model("rounds", "Decision")
    Census = apps.get_model("rounds", "Census")
    first = Decision.objects.values_list("line__sheet__census").annotate(at=Min("decided_at")).order_by()
    for census, at in first:
        Census.objects.filter(pk=census).update(compared_at=at)


class Migration(migrations.Migration):

    dependencies = [
        ("rounds", "0006_approvals_and_quiet"),
    ]

    operations = [
        migrations.AddField(
            model_name="census",
            name="compared_at",
            field=models.DateTimeField(
                blank=True, help_text="When the counts were first put beside the book; kept for ever.", null=True
            ),
        ),
        migrations.RunPython(from_first_decisions, migrations.RunPython.noop, elidable=True),
    ]
