import django.db.models.deletion
from django.db import migrations, models

from census.population.models import EXPECTATION_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):

    initial = True

    dependencies = [
        ('names', '0005_lists'),
    ]

    operations = [
        migrations.CreateModel(
            name='Expectation',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('quarter_starts_on', models.DateField()),
                ('quarter_ends_on', models.DateField()),
                ('opening', models.IntegerField()),
                ('low', models.IntegerField()),
                ('middle', models.IntegerField()),
                ('high', models.IntegerField()),
                ('inputs', models.JSONField(help_text='Opening, and opening, born and died of each earlier quarter.')),
                ('fingerprint', models.CharField(max_length=64)),
                ('known_at', models.DateTimeField(help_text='Made from what had been entered by then.')),
                ('made_at', models.DateTimeField()),
                ('taxon', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='names.taxon')),
            ],
            options={
                'ordering': ['quarter_starts_on', 'taxon', 'id'],
                'constraints': [models.UniqueConstraint(fields=('taxon', 'quarter_starts_on', 'fingerprint'), name='expectation_is_unique'), models.CheckConstraint(condition=models.Q(('low__lte', models.F('middle')), ('middle__lte', models.F('high'))), name='expectation_in_order')],
            },
        ),
        InstallTriggers(*(trigger.name for trigger in EXPECTATION_TRIGGERS)),
    ]
